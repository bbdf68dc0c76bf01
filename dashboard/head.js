// The bar across the top: see head.py.

const NARROW = "(max-width: 599.95px)"
// An answer that comes sooner needs no sign that it is on its way; one that never comes keeps it for so long.
const SOON_MS = 250, LONGEST_MS = 20000

function made(tag, properties = {}, ...children) {
  const element = Object.assign(document.createElement(tag), properties)
  element.append(...children)
  return element
}

function sign(path) {
  const box = made("span", {className: "sign"})
  box.innerHTML = `<svg viewBox="0 0 24 24" aria-hidden="true"><path d="${path}"></path></svg>`
  return box
}

// Shows and hides what stands beside the page: there where there is room, over the page where there is none.
function menu_button(frame, gone) {
  const button = made("button", {type: "button", className: "bare"}, sign("M4 7h16M4 12h16M4 17h16"))
  button.setAttribute("aria-label", "Menu")
  const narrow = window.matchMedia(NARROW)
  const is_open = () => frame.dataset.menu ? frame.dataset.menu === "open" : !narrow.matches
  const say = () => button.setAttribute("aria-expanded", String(is_open()))
  const set = (open) => { frame.dataset.menu = open ? "open" : "closed"; say() }
  const usual = () => { delete frame.dataset.menu; say() }
  const over = () => { if (narrow.matches && is_open()) { set(false); return true } }
  button.addEventListener("click", () => set(!is_open()))
  narrow.addEventListener("change", usual)
  gone(() => narrow.removeEventListener("change", usual))
  frame.addEventListener("page-chosen", over)
  frame.addEventListener("keydown", (event) => { if (event.key === "Escape" && over()) { button.focus() } })
  frame.addEventListener("pointerdown", (event) => {
    if (event.composedPath().some((at) => at.classList?.contains("main"))) { over() }
  })
  say()
  return button
}

// Remembers the theme for the next visit; the first follows the device.
function theme_button(model, frame, gone) {
  const button = made("button", {type: "button", className: "bare"}, sign("M12 4a8 8 0 1 0 .01 0M12 4v16M12 8l4-2M12 12l7-3.5M12 16l7-3.5"))
  button.setAttribute("aria-label", "Dark theme")
  // In a notebook there is more around, with a theme of its own.
  const alone = () => (frame.closest("[data-root-id]") ?? frame).parentElement === document.body
  const show = () => {
    frame.dataset.theme = model.dark ? "dark" : "light"
    if (alone()) { document.documentElement.dataset.theme = frame.dataset.theme }
    button.setAttribute("aria-pressed", String(model.dark))
  }
  const remember = (dark) => {
    if (alone()) { document.cookie = `gapshift_theme=${dark ? "dark" : "light"}; path=/; max-age=31536000; samesite=lax` }
  }
  button.addEventListener("click", () => { model.dark = !model.dark; remember(model.dark); show() })
  model.on("dark", show)
  if (!/(^|; )gapshift_theme=/.test(document.cookie) && window.matchMedia("(prefers-color-scheme: dark)").matches) {
    // Said again until it is heard: what is said before the page is complete can be lost.
    let left = 40
    const timer = window.setInterval(() => {
      if (!alone() || model.dark || left-- <= 0) { window.clearInterval(timer); return }
      remember(true)
      model.send_msg({dark: true})
    }, 250)
    gone(() => window.clearInterval(timer))
  }
  show()
  return button
}

// A line under the bar from when something was asked until the server has done it.
function work_line(model, frame, gone) {
  const line = made("div", {className: "work", hidden: true})
  line.setAttribute("role", "progressbar")
  line.setAttribute("aria-label", "The page is at work")
  let begun, ended, asked = 0
  const rest = () => { window.clearTimeout(begun); window.clearTimeout(ended); line.hidden = true }
  frame.addEventListener("asked", () => {
    rest()
    const mine = ++asked
    begun = window.setTimeout(() => { line.hidden = false }, SOON_MS)
    ended = window.setTimeout(rest, LONGEST_MS)
    window.setTimeout(() => model.send_msg({asked: mine}))  // after what was asked: the server does one after the other
  })
  model.on("msg:custom", (said) => { if (said.answered === asked) { rest() } })
  gone(rest)
  return line
}

// What assistive technology calls the parts of the page.
function name_parts(frame) {
  const part = (name) => frame.shadowRoot.querySelector(`.${name}`)
  const side = part("side"), main = part("main")
  side?.setAttribute("role", "complementary")
  side?.setAttribute("aria-label", "Pages and choices")
  main?.setAttribute("role", "main")  // no tabindex: on the host of a shadow tree it would take all inside off the keyboard
}

// The first that matches, also inside shadow trees.
function find(selector, root) {
  const here = root.querySelector(selector)
  if (here) { return here }
  for (const element of root.querySelectorAll("*")) {
    const found = element.shadowRoot && find(selector, element.shadowRoot)
    if (found) { return found }
  }
  return null
}

// The first stop of the keyboard leads past the menu to the page's heading.
function skip_button(frame) {
  const skip = made("button", {type: "button", className: "skip"}, "Skip to the page")
  skip.addEventListener("click", () => {
    const heading = find("h1", frame.shadowRoot)
    heading?.setAttribute("tabindex", "-1")
    heading?.focus()
  })
  return skip
}

export function render({model, view}) {
  const frame = view.parent.el
  const gone = (act) => model.on("remove", act)
  document.getElementById("coming")?.remove()
  model.on("after_render", () => name_parts(frame))
  return made(
    "header", {}, skip_button(frame), menu_button(frame, gone), made("span", {className: "name"}, "gapshift"),
    theme_button(model, frame, gone), work_line(model, frame, gone))
}
