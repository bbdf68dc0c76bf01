// The list of pages: see menu.py.

export function render({model}) {
  const list = document.createElement("ul"), pages = document.createElement("nav")
  pages.setAttribute("aria-label", "Pages")
  pages.className = "pages"
  const links = model.entries.map(([key, label, path]) => {
    const link = document.createElement("a"), item = document.createElement("li")
    link.innerHTML = `<svg viewBox="0 0 24 24" aria-hidden="true"><path d="${path}"></path></svg>`
    link.append(label)
    // A plain click turns the page here; any other opens it beside, with the same data set and choices.
    const address = () => {
      const query = new URLSearchParams(window.location.search)
      query.set("page", key)
      link.href = `?${query}`
    }
    address()
    for (const event of ["pointerenter", "focus"]) { link.addEventListener(event, address) }
    link.addEventListener("click", (event) => {
      if (event.ctrlKey || event.metaKey || event.shiftKey || event.altKey) { return }
      event.preventDefault()
      for (const name of ["asked", "page-chosen"]) {
        link.dispatchEvent(new CustomEvent(name, {bubbles: true, composed: true}))
      }
      model.page = key
    })
    item.append(link)
    list.append(item)
    return [key, link]
  })
  const show = () => {
    for (const [key, link] of links) {
      if (key === model.page) { link.setAttribute("aria-current", "page") } else { link.removeAttribute("aria-current") }
    }
  }
  model.on("page", show)
  show()
  pages.append(list)
  return pages
}
