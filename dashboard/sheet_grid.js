// A sheet as it stands in its file: see sheet_grid.py.

function made(tag, properties = {}, ...children) {
  const element = Object.assign(document.createElement(tag), properties)
  element.append(...children)
  return element
}

export function render({model}) {
  const legend = made("ul", {className: "legend"}), table = made("table"), place = made("div", {className: "sheet"}, table)
  table.setAttribute("role", "grid")
  table.setAttribute("aria-multiselectable", "true")
  const box = made("div", {}, legend, place)
  // What is selected: two corners, by number of row and place of column; null where it runs through.
  let from = null, to = null, at = [0, 0], dragged = null, cells = [], numbers = []

  const ask = () => box.dispatchEvent(new CustomEvent("asked", {bubbles: true, composed: true}))

  const ends = () => {
    if (!from || !to) { return null }
    const span = (k) => from[k] === null || to[k] === null ? null : [Math.min(from[k], to[k]), Math.max(from[k], to[k])]
    return [span(0), span(1)]
  }

  const written = () => {
    const found = ends()
    if (!found) { return "" }
    const [rows, columns] = found
    const corner = (k) => (columns ? model.columns[columns[k]] : "") + (rows ? numbers[rows[k]] : "")
    const [first, last] = [corner(0), corner(1)]
    return first === last && rows && columns ? first : `${first}:${last}`
  }

  const mark = () => {
    const found = ends()
    const within = (span, k) => !span || (span[0] <= k && k <= span[1])
    cells.forEach((row, r) => row.forEach((cell, c) => {
      cell.setAttribute("aria-selected", String(Boolean(found) && within(found[0], r) && within(found[1], c)))
    }))
    for (const head of table.querySelectorAll("th[data-row]")) {
      head.classList.toggle("in", Boolean(found) && !found[1] && within(found[0], Number(head.dataset.row)))
    }
    for (const head of table.querySelectorAll("th[data-column]")) {
      head.classList.toggle("in", Boolean(found) && !found[0] && within(found[1], Number(head.dataset.column)))
    }
  }

  const tell = () => {
    const text = written()
    if (text !== model.chosen) { ask(); model.chosen = text }
  }

  const select = (spot, further) => {
    const alike = from && (from[0] === null) === (spot[0] === null) && (from[1] === null) === (spot[1] === null)
    if (!further || !alike) { from = spot }
    to = spot
    mark()
  }

  const focus = (r, c) => {
    for (const cell of table.querySelectorAll('td[tabindex="0"]')) { cell.setAttribute("tabindex", "-1") }
    at = [r, c]
    cells[r]?.[c]?.setAttribute("tabindex", "0")
    cells[r]?.[c]?.focus()
  }

  const spot_of = (event) => {
    const cell = event.composedPath().find((e) => e.dataset && (e.dataset.row !== undefined || e.dataset.column !== undefined))
    if (!cell) { return null }
    const number = (text) => text === undefined ? null : Number(text)
    return [number(cell.dataset.row), number(cell.dataset.column)]
  }

  table.addEventListener("pointerdown", (event) => {
    const spot = spot_of(event)
    if (!spot || event.button !== 0) { return }
    dragged = spot
    select(spot, event.shiftKey)
    if (spot[0] !== null && spot[1] !== null) { event.preventDefault(); focus(...spot) }
  })
  table.addEventListener("pointerover", (event) => {
    const spot = dragged && event.buttons & 1 ? spot_of(event) : null
    if (spot) { select(spot, true) }
  })
  const end = () => { if (dragged) { dragged = null; tell() } }
  window.addEventListener("pointerup", end)
  table.addEventListener("click", (event) => {  // a button pressed by the keyboard
    const spot = event.detail === 0 ? spot_of(event) : null
    if (spot) { select(spot, event.shiftKey); tell() }
  })
  table.addEventListener("keydown", (event) => {
    const steps = {ArrowUp: [-1, 0], ArrowDown: [1, 0], ArrowLeft: [0, -1], ArrowRight: [0, 1]}
    const step = steps[event.key], spot = spot_of(event)
    if (!spot || spot[0] === null || spot[1] === null) { return }
    at = spot
    if (step) {
      event.preventDefault()
      const r = Math.min(Math.max(at[0] + step[0], 0), cells.length - 1)
      const c = Math.min(Math.max(at[1] + step[1], 0), model.columns.length - 1)
      focus(r, c)
      select([r, c], event.shiftKey)
    } else if (event.key === " " || event.key === "Enter") {
      event.preventDefault()
      select(spot, event.shiftKey)
      tell()
    } else if (event.key === "Escape") {
      from = to = null
      mark()
      tell()
    }
  })
  table.addEventListener("keyup", (event) => { if (event.key.startsWith("Arrow")) { tell() } })

  const read_back = () => {  // the place was typed
    if (model.chosen === written()) { return }
    const found = /^([A-Z]*)(\d*)(?::([A-Z]*)(\d*))?$/.exec(model.chosen)
    const spot = (letters, number) => [number ? numbers.indexOf(Number(number)) : null, letters ? model.columns.indexOf(letters) : null]
    from = to = null
    if (model.chosen && found) {
      const first = spot(found[1], found[2]), last = model.chosen.includes(":") ? spot(found[3], found[4]) : first
      if (![...first, ...last].includes(-1)) { from = first; to = last }
    }
    mark()
  }

  const draw = () => {
    numbers = model.lines.map(([number]) => number)
    table.setAttribute("aria-label", `Cells of ${model.name_of}`)
    const head = made("tr", {}, made("th"))
    model.columns.forEach((name, c) => {
      const button = made("button", {type: "button"}, name), th = made("th", {scope: "col"}, button)
      button.setAttribute("aria-label", `Column ${name}`)
      th.dataset.column = c
      head.append(th)
    })
    cells = []
    const body = made("tbody")
    model.lines.forEach(([number, line], r) => {
      const button = made("button", {type: "button"}, String(number)), th = made("th", {scope: "row"}, button)
      button.setAttribute("aria-label", `Row ${number}`)
      th.dataset.row = r
      const row = made("tr", {}, th)
      cells.push(line.map(([text, sign, words, hue], c) => {
        const cell = made("td", {tabIndex: -1})
        cell.setAttribute("role", "gridcell")
        cell.dataset.row = r
        cell.dataset.column = c
        if (text) {
          cell.dataset.hue = hue
          cell.dataset.sign = sign
          cell.title = `${text}\n${words}`
          cell.append(made("i", {}, sign), text)
        }
        row.append(cell)
        return cell
      }))
      body.append(row)
    })
    const had = table.contains(table.getRootNode().activeElement)
    table.replaceChildren(made("thead", {}, head), body)
    at = [Math.min(at[0], cells.length - 1), Math.min(at[1], model.columns.length - 1)]
    cells[at[0]]?.[at[1]]?.setAttribute("tabindex", "0")
    if (had) { cells[at[0]]?.[at[1]]?.focus({preventScroll: true}) }
    from = to = null
    read_back()
    mark()
  }

  const explain = () => {
    legend.replaceChildren(...model.legend.map(([sign, words, hue, count]) => {
      const key = made("b", {}, sign)
      key.dataset.hue = hue
      return made("li", {}, key, `${words} (${count})`)
    }))
  }

  model.on("lines", draw)
  model.on("legend", explain)
  model.on("chosen", read_back)
  model.on("remove", () => window.removeEventListener("pointerup", end))
  draw()
  explain()
  return box
}
