// The address bar, both ways: see addressbar.py.

export function render({model, view}) {
  let corrections = model.fixed
  const show = () => {
    if (window.location.search === model.search) { return }
    const url = window.location.pathname + model.search + window.location.hash
    if (model.fixed !== corrections) {
      corrections = model.fixed
      window.history.replaceState({}, "", url)
    } else {
      window.history.pushState({}, "", url)
    }
  }
  const back = () => { model.search = window.location.search }
  // In a notebook the document is not ours to name.
  const name = () => {
    if (view.root.el.closest("[data-root-id]")?.parentElement === document.body) { document.title = model.title }
  }
  model.on("title", name)
  window.setTimeout(name)
  model.on("search", show)
  window.addEventListener("popstate", back)
  model.on("remove", () => window.removeEventListener("popstate", back))
  if (model.search) {
    const url = window.location.pathname + model.search + window.location.hash
    if (window.location.search !== model.search) { window.history.replaceState({}, "", url) }
  }
  return null
}
