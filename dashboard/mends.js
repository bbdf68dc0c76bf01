// See mends.py. Every mend is harmless where the library no longer needs it.

// ---------------------------------------------------------------- views that are not drawn yet

function owner_of(prototype, name) {
  while (prototype && !Object.hasOwn(prototype, name)) { prototype = Object.getPrototypeOf(prototype) }
  return prototype
}

function wrap(prototype, name, make) {
  const owner = owner_of(prototype, name)
  if (!owner || owner[name]._gapshift) { return }
  const original = owner[name]
  owner[name] = make(original)
  owner[name]._gapshift = true
}

// A handler of a view that has not been drawn may fail: the view reads its model when it is drawn.
function let_wait(prototype, drawn) {
  if (!prototype || Object.hasOwn(prototype, "_gapshift_waits")) { return }
  prototype._gapshift_waits = true
  const connect = prototype.connect_signals
  prototype.connect_signals = function() {
    const on_change = this.on_change
    this.on_change = (properties, handler) => on_change.call(this, properties, (...args) => {
      try { return handler.apply(this, args) } catch (error) { if (drawn(this)) { throw error } }
    })
    try { connect.call(this) } finally { delete this.on_change }
  }
}

function view_of(name) {
  try { return window.Bokeh?.Models?.get?.(name)?.prototype?.default_view?.prototype } catch { return undefined }
}

function mend_views() {
  const figure = view_of("Figure")
  for (const name of ["_measure_layout", "_after_layout"]) {
    wrap(figure, name, (original) => function(...args) {
      return this.layout == null ? undefined : original.apply(this, args)
    })
  }
  let_wait(view_of("panel.models.markup.HTML"), (view) => view.container != null)
  // A component without children changes nobody's place when its size is measured, yet had all of the page laid out.
  const component = view_of("panel.models.esm.ReactiveESM")
  if (component && !Object.hasOwn(component, "_after_resize")) {
    const after = component._after_resize
    component._after_resize = function() { if (this.model.children?.length) { after.call(this) } }
    // A message of the server may change a dozen parts, each of which had all of the page laid out: once is enough.
    const lay_out = component.invalidate_layout, due = new WeakSet()
    component.invalidate_layout = function() {
      if (this.is_managed) { return lay_out.call(this) }
      if (due.has(this)) { return }
      due.add(this)
      queueMicrotask(() => {
        due.delete(this)
        if (!this.is_destroyed) { lay_out.call(this) }
      })
    }
  }
}

if (window.Bokeh) { mend_views() }  // before the first view, where this is loaded that early

// ---------------------------------------------------------------- names and roles

function set(element, name, value) {
  if (element.getAttribute(name) !== value) { element.setAttribute(name, value) }
}

// The first that matches, also inside shadow trees.
function find(selector, root = document) {
  const here = root.querySelector(selector)
  if (here) { return here }
  for (const element of root.querySelectorAll("*")) {
    const found = element.shadowRoot && find(selector, element.shadowRoot)
    if (found) { return found }
  }
  return null
}

const RULES = {
  // options of a drop-down: a list box holds options, not menu items
  '[role="listbox"] > [role="menuitem"]': (el) => {
    set(el, "role", "option")
    set(el, "aria-selected", String(el.classList.contains("Mui-selected")))
  },
  '[role="listbox"] > [role="option"].MuiMenuItem-root': (el) => {
    set(el, "aria-selected", String(el.classList.contains("Mui-selected")))
  },
  // the two buttons of a number field
  ".MuiInputAdornment-root > button:not([aria-label])": (el) => {
    const field = el.closest(".MuiTextField-root, .MuiFormControl-root")
    const label = field?.querySelector("label")?.textContent?.trim() ?? ""
    if (!label) { return }
    const less = el.parentElement.classList.contains("MuiInputAdornment-positionStart")
    set(el, "aria-label", `${less ? "Less" : "More"}: ${label}`)
  },
  // a field whose label is not tied to it
  ".MuiTextField-root": (el) => {
    const field = el.querySelector("input, textarea"), label = el.querySelector("label")?.textContent?.trim()
    if (field && label && !field.labels?.length && !field.getAttribute("aria-labelledby")) { set(field, "aria-label", label) }
  },
  '[role="progressbar"]:not([aria-label]):not([aria-labelledby])': (el) => {
    set(el, "aria-label", el.closest(".header, header") ? "The page is at work" : "Progress")
  },
  // spacers that are headings without text
  "h5": (el) => { if (!el.textContent.replace(/\u00a0/g, " ").trim()) { set(el, "role", "presentation") ; set(el, "aria-hidden", "true") } },
  // the menu
  "nav:not(.MuiPagination-root, .pages)": (el) => { set(el, "aria-label", el.querySelector(".sidebar") ? "Pages and choices" : "Further choices") },
  "main": (el) => { set(el, "tabindex", "-1") },
  // a heading around a heading, or one that leaves out a level
  "h3.MuiAccordion-heading": (el) => {
    if (el.querySelector("h1, h2, h3, h4, h5, h6")) { set(el, "role", "presentation") } else { set(el, "aria-level", "2") }
  },
}

function put_right(root) {
  watch_all(root)  // a shadow tree that was made before this was loaded, and put into the page after
  for (const [selector, rule] of Object.entries(RULES)) {
    for (const element of root.querySelectorAll(selector)) { rule(element) }
  }
}

let due = null
const dirty = new Set(), watched = new WeakSet()

function later(root) {
  dirty.add(root)
  due ??= window.setTimeout(() => {
    due = null
    const roots = [...dirty]
    dirty.clear()
    roots.filter((r) => r === document || r.host?.isConnected).forEach(put_right)
  }, 60)
}

const sheet = new CSSStyleSheet()

function watch(root) {
  if (watched.has(root)) { return }
  watched.add(root)
  root.adoptedStyleSheets = [...root.adoptedStyleSheets, sheet]
  const changes = {childList: true, subtree: true, attributes: true, attributeFilter: ["class"]}
  new MutationObserver((found) => {
    if (found.some((m) => m.addedNodes.length || m.target.matches?.("li"))) { later(root) }
  }).observe(root, changes)
  later(root)
}

function watch_all(root) {
  for (const element of root.querySelectorAll("*")) {
    if (element.shadowRoot && !watched.has(element.shadowRoot)) { watch(element.shadowRoot) }
  }
}

function mend_roles() {
  if (Element.prototype.attachShadow._gapshift) { return }
  const attach = Element.prototype.attachShadow
  Element.prototype.attachShadow = function(...args) {
    const root = attach.apply(this, args)
    watch(root)
    return root
  }
  Element.prototype.attachShadow._gapshift = true
  watch(document)
  document.addEventListener("keydown", open_by_key, true)
}

// A drop-down of panel-material-ui opens by a click only: these keys click.
function open_by_key(event) {
  const at = event.composedPath()[0]
  if (!["Enter", " ", "ArrowDown", "ArrowUp"].includes(event.key) || !at?.matches?.('.MuiSelect-select[role="combobox"]')) {
    return
  }
  if (at.getAttribute("aria-expanded") === "true" || at.getAttribute("aria-disabled") === "true") { return }
  event.preventDefault()
  event.stopPropagation()
  // The space key chooses when it is let go: the list opens after that, or it would close at once.
  if (event.key === " ") { at.addEventListener("keyup", () => at.click(), {once: true}) } else { at.click() }
}

// ---------------------------------------------------------------- the button that skips the menu

function skip_link() {
  if (document.getElementById("skip-link")) { return }
  const link = document.createElement("button")  // the page lies in a shadow tree, where no address leads
  link.id = "skip-link"
  link.textContent = "Skip to the page"
  link.addEventListener("click", () => find("main")?.focus())
  const place = document.createElement("div")
  place.setAttribute("role", "region")
  place.setAttribute("aria-label", "Skip the menu")
  place.append(link)
  document.body.prepend(place)
}

export function render({model}) {
  sheet.replaceSync(model.css)
  mend_views()
  mend_roles()
  // In a notebook there is more around than this page.
  if (document.querySelector("[data-root-id]")?.parentElement === document.body) { skip_link() }
  return null
}
