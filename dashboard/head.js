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
function theme_button(model, frame, session) {
  const button = made("button", {type: "button", className: "bare"}, sign("M12 4a8 8 0 1 0 .01 0M12 4v16M12 8l4-2M12 12l7-3.5M12 16l7-3.5"))
  button.setAttribute("aria-label", "Dark theme")
  // In a notebook there is more around, with a theme of its own.
  const alone = () => (frame.closest("[data-root-id]") ?? frame).parentElement === document.body
  const show = () => {
    frame.dataset.theme = model.dark ? "dark" : "light"
    if (alone()) { document.documentElement.dataset.theme = frame.dataset.theme }
    button.setAttribute("aria-pressed", String(model.dark))
  }
  const choose = (dark) => {
    model.dark = dark
    if (alone()) { document.cookie = `gapshift_theme=${dark ? "dark" : "light"}; path=/; max-age=31536000; samesite=lax` }
    show()
  }
  button.addEventListener("click", () => choose(!model.dark))
  model.on("dark", show)
  if (!/(^|; )gapshift_theme=/.test(document.cookie) && window.matchMedia("(prefers-color-scheme: dark)").matches) {
    // Only when the document is idle: what is said earlier is lost.
    const follow = () => window.setTimeout(() => { if (alone()) { choose(true) } }, 50)
    if (session.is_idle) { follow() } else { session.idle.connect(follow) }
  }
  show()
  return button
}

// A line under the bar from when something was asked until the server says something.
function work_line(frame, session, gone) {
  const line = made("div", {className: "work", hidden: true})
  line.setAttribute("role", "progressbar")
  line.setAttribute("aria-label", "The page is at work")
  let begun, ended
  const rest = () => { window.clearTimeout(begun); window.clearTimeout(ended); line.hidden = true }
  frame.addEventListener("asked", () => {
    rest()
    begun = window.setTimeout(() => { line.hidden = false }, SOON_MS)
    ended = window.setTimeout(rest, LONGEST_MS)
  })
  const heard = (event) => { if (event.sync === false) { rest() } }
  session.on_change(heard)
  gone(() => session.remove_on_change(heard))
  return line
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
  const frame = view.parent.el, session = view.model.document
  const gone = (act) => model.on("remove", act)
  document.getElementById("coming")?.remove()
  return made(
    "header", {}, skip_button(frame), menu_button(frame, gone), made("span", {className: "name"}, "gapshift"),
    theme_button(model, frame, session), work_line(frame, session, gone))
}
