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
  // A button that no column here shows takes a place, and a gap, among the parts that come after the first ones.
  wrap(view_of("panel.models.layout.Column"), "render", (original) => function(...args) {
    original.apply(this, args)
    if (this.scroll_down_button_el) { this.scroll_down_button_el.style.display = "none" }
  })
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

export function render() {
  mend_views()
  return null
}
