// Says when all that the server sent is drawn: see echo.py.

// Whether every container below has a view for each of its children, in the page.
function whole(view) {
  const {children} = view.model
  if (!Array.isArray(children)) { return true }
  return children.map((child) => Array.isArray(child) ? child[0] : child).every((child) => {
    if (typeof child !== "object") { return true }
    const drawn = view.child_views.find((other) => other.model === child)
    return drawn !== undefined && drawn.el.isConnected && whole(drawn)
  })
}

export function render({model, view}) {
  let looking = null
  const look = () => {
    looking = null
    if (whole(view.root)) { model.drawn = model.asked } else { looking = setTimeout(look, 8) }
  }
  // Not at once: the rest of the message that asks may still have to be heard.
  const asked = () => { looking ??= setTimeout(look) }
  model.on("asked", asked)
  if (model.asked > model.drawn) { asked() }  // before this was here
  model.on("remove", () => clearTimeout(looking))
  return null
}
