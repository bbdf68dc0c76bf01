// A table that is sorted by its headings, unfolds its further columns and has its rows selected: see table_view.py.

export function render({model}) {
  const box = document.createElement("div")
  let focus = null  // what had the keyboard when the table was asked for anew: it gets it back
  const show = () => {
    const scrolled = box.querySelector(".scroll")?.scrollLeft ?? 0
    box.innerHTML = model.object
    const scroll = box.querySelector(".scroll")
    if (scroll) { scroll.scrollLeft = scrolled }
    mark()
    if (focus) { box.querySelector(focus)?.focus({preventScroll: true}); focus = null }
  }
  const mark = () => {
    const chosen = new Set(model.marked)
    for (const row of box.querySelectorAll("tr[data-row]")) {
      row.setAttribute("aria-selected", String(chosen.has(Number(row.dataset.row))))
    }
  }
  const say = (message) => {
    box.dispatchEvent(new CustomEvent("asked", {bubbles: true, composed: true}))
    model.send_msg(message)
  }
  const choose = (row, several) => say({row: Number(row.dataset.row), several})
  box.addEventListener("click", (event) => {
    const sort = event.target.closest("button[data-sort]"), more = event.target.closest("button[data-more]")
    const row = event.target.closest("tr[data-row]")
    if (sort) { focus = `button[data-sort="${sort.dataset.sort}"]`; say({sort: Number(sort.dataset.sort)}) }
    else if (event.target.closest("button[data-take]")) { say({take: event.target.closest("button[data-take]").dataset.take}) }
    else if (more) { focus = "button[data-more]"; say({more: true}) }
    // Who marks the text of a cell does not mean the row.
    else if (row && String(window.getSelection()) === "") { choose(row, event.ctrlKey || event.metaKey || event.shiftKey) }
  })
  box.addEventListener("keydown", (event) => {
    const row = event.target.closest("tr[data-row]")
    if (!row || event.target !== row) { return }
    if (event.key === "Enter" || event.key === " ") { event.preventDefault(); choose(row, event.ctrlKey || event.shiftKey) }
    const beside = event.key === "ArrowDown" ? row.nextElementSibling : event.key === "ArrowUp" ? row.previousElementSibling : null
    if (beside) { event.preventDefault(); beside.focus() }
  })
  model.on("msg:custom", (data) => {
    if (data.wrong) { window.alert(data.wrong) }
    if (!data.file) { return }
    const url = URL.createObjectURL(new Blob([Uint8Array.from(atob(data.contents), (c) => c.charCodeAt(0))]))
    Object.assign(document.createElement("a"), {href: url, download: data.file}).click()
    window.setTimeout(() => URL.revokeObjectURL(url), 60000)
  })
  model.on("object", show)
  model.on("marked", mark)
  show()
  return box
}
