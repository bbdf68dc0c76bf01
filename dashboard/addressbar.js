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
  model.on("search", show)
  window.addEventListener("popstate", back)
  model.on("remove", () => window.removeEventListener("popstate", back))
  // Only when the document is idle: an answer that comes earlier is lost.
  const settle = () => { document.documentElement.dataset.menuSettled = "" }
  const tell = () => window.setTimeout(() => {
    if (window.innerWidth >= 600 || model.settled) { settle() } else { model.narrow = true }
  }, 50)
  model.on("settled", () => window.setTimeout(settle, 300))
  const small = window.matchMedia("(max-width: 599.95px)")
  const resized = () => { model.narrow = small.matches }
  small.addEventListener("change", resized)
  model.on("remove", () => small.removeEventListener("change", resized))
  const doc = view.model.document
  if (doc.is_idle) { tell() } else { doc.idle.connect(tell) }
  if (model.search) {
    const url = window.location.pathname + model.search + window.location.hash
    if (window.location.search !== model.search) { window.history.replaceState({}, "", url) }
  }
  return null
}
