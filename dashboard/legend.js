// The legend of a plot: see legend.py.

const DASHES = {dashed: "6 4", dotted: "2 3", dotdash: "2 3 7 3", dashdot: "7 3 2 3"}
const MARKERS = {
  circle: "M14 3.5a4.5 4.5 0 1 0 .01 0", square: "M9.5 3.5h9v9h-9z", triangle: "M14 2.5l5.5 10h-11z",
  diamond: "M14 2l5 6-5 6-5-6z", inverted_triangle: "M14 13.5l5.5-10h-11z", plus: "M14 2v12M8 8h12",
  asterisk: "M14 2v12M8.8 5l10.4 6M19.2 5L8.8 11", star: "M14 1.5l2 4.6 5 .4-3.8 3.2 1.2 4.9-4.4-2.7-4.4 2.7 1.2-4.9L7 6.5l5-.4z",
  x: "M9.5 3.5l9 9M18.5 3.5l-9 9", y: "M14 8v6M14 8l-5.5-4.5M14 8l5.5-4.5", square_pin: "M8.5 2.5q5.5 3 11 0q-3 5.5 0 11q-5.5-3-11 0q3-5.5 0-11z",
  triangle_pin: "M14 1.5q.8 6.5 6 11.5q-6-2-12 0q5.2-5 6-11.5z", hex: "M14 2.5l5 2.8v5.4l-5 2.8-5-2.8V5.3z",
}

// The sign of a line of the legend: what the plot draws it with.
function sign([_, kind, colour, dash, marker]) {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg")
  svg.setAttribute("viewBox", "0 0 28 16")
  svg.setAttribute("aria-hidden", "true")
  const path = document.createElementNS("http://www.w3.org/2000/svg", "path")
  path.setAttribute("stroke", colour)
  path.setAttribute("fill", "none")
  path.setAttribute("stroke-width", "2.5")
  if (kind === "line" || kind === "lines" || kind === "segments") {
    path.setAttribute("d", "M1 8h26")
    const strokes = DASHES[dash] ?? (/^\d/.test(dash) ? dash : "")
    if (strokes) { path.setAttribute("stroke-dasharray", strokes) }
  } else if (kind === "bands" || kind === "bars") {
    path.setAttribute("d", "M2 2h24v12h-24z")
    path.setAttribute("fill", colour)
    path.setAttribute("fill-opacity", "0.2")
    path.setAttribute("stroke", "none")
  } else {
    path.setAttribute("d", MARKERS[marker] ?? MARKERS.circle)
    path.setAttribute("stroke-width", "2")
    if (!["plus", "asterisk", "x", "y"].includes(marker)) { path.setAttribute("fill", colour) }
  }
  svg.append(path)
  return svg
}

export function render({model}) {
  const list = document.createElement("div")
  list.className = "legend"
  list.setAttribute("role", "group")
  list.setAttribute("aria-label", "Legend: a press shows one alone")
  const show = () => {
    for (const button of list.children) {
      const on = button.dataset.name === model.alone
      button.setAttribute("aria-pressed", String(on))
      button.classList.toggle("away", Boolean(model.alone) && !on)
    }
  }
  const fill = () => {
    list.replaceChildren(...model.lines.map((line) => {
      const button = document.createElement("button")
      button.type = "button"
      button.dataset.name = line[0]
      button.append(sign(line), line[0])
      button.addEventListener("click", () => {
        button.dispatchEvent(new CustomEvent("asked", {bubbles: true, composed: true}))
        model.alone = model.alone === line[0] ? "" : line[0]
        show()
      })
      return button
    }))
    show()
  }
  model.on("lines", fill)
  model.on("alone", show)
  fill()
  return list
}
