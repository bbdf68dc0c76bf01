// Choices, numbers and text, made of the browser's own elements: see controls.py.

let count = 0
// How long what was wrong with what was typed stays to be read.
const WRONG_MS = 8000

function made(tag, properties = {}, ...children) {
  const element = Object.assign(document.createElement(tag), properties)
  element.append(...children)
  return element
}

// A drop-down: what is chosen is its selected option.
function drop_down(model, id, tell) {
  const select = made("select", {id, onchange: () => tell([select.value])})
  return {
    element: made("div", {className: "frame"}, select),
    described: select,
    fill: () => select.replaceChildren(...model.labels.map((label) => made("option", {value: label}, label))),
    show: () => {
      select.selectedIndex = model.labels.indexOf(model.chosen[0])
      select.disabled = model.disabled
    },
  }
}

// One input with its words for each option, in a row or a list.
function inputs(model, row, type, id, changed) {
  return row.replaceChildren(...model.labels.map((label) => {
    const input = made("input", {type, name: id, value: label})
    input.onchange = () => changed(input)
    return made("label", {}, input, made("span", {}, label))
  }))
}

// Buttons side by side, one of which is down.
function buttons(model, id, tell) {
  const row = made("div", {className: "buttons"})
  return {
    element: row,
    fill: () => inputs(model, row, "radio", id, (input) => tell([input.value])),
    show: () => {
      for (const input of row.querySelectorAll("input")) {
        input.checked = model.chosen.includes(input.value)
        input.disabled = model.disabled
      }
    },
  }
}

// Check boxes that come forth when they are asked for; meanwhile one line says which are ticked.
function several(model, id, tell) {
  const list = made("div", {className: "list"}), line = made("summary")
  const fold = made("details", {className: "frame"}, line, list)
  const changed = (input) => tell(
    input.checked ? [...model.chosen, input.value] : model.chosen.filter((label) => label !== input.value))
  // It closes when the reader goes elsewhere.
  fold.addEventListener("focusout", (event) => { if (!fold.contains(event.relatedTarget)) { fold.open = false } })
  fold.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && fold.open) { fold.open = false; line.focus(); event.stopPropagation() }
  })
  list.addEventListener("mousedown", (event) => { if (event.target === list) { event.preventDefault() } })
  line.addEventListener("click", (event) => { if (model.disabled) { event.preventDefault() } })
  return {
    element: fold,
    fill: () => inputs(model, list, "checkbox", id, changed),
    show: () => {
      const full = model.most > 0 && model.chosen.length >= model.most
      line.textContent = model.chosen.join(", ") || model.none
      line.setAttribute("aria-label", `${model.label}: ${line.textContent}`)
      line.setAttribute("aria-disabled", String(model.disabled))
      for (const input of list.querySelectorAll("input")) {
        input.checked = model.chosen.includes(input.value)
        input.disabled = model.disabled || (full && !input.checked)
      }
    },
  }
}

// One of many: the field offers those that hold what is typed; what is none of them is taken back.
function search(model, id, tell) {
  const list = made("datalist", {id: `${id}-list`}), field = made("input", {id, type: "text", autocomplete: "off"})
  field.setAttribute("list", list.id)
  const show = () => { field.value = model.chosen[0] ?? ""; field.disabled = model.disabled }
  field.onchange = () => { if (model.labels.includes(field.value)) { tell([field.value]) } else { show() } }
  field.onfocus = () => field.select()
  return {
    element: made("div", {}, field, list),
    described: field,
    fill: () => list.replaceChildren(...model.labels.map((label) => made("option", {value: label}))),
    show,
  }
}

// A field for text; Enter leaves it, where it has one line.
function words(model, id, tell) {
  const field = made(model.lines > 1 ? "textarea" : "input", {id, placeholder: model.example})
  if (model.lines > 1) { field.rows = model.lines } else { field.type = "text" }
  field.onchange = () => tell(field.value)
  return {
    element: made("div", {}, field),
    described: field,
    fill: () => {},
    show: () => { field.value = model.value; field.disabled = model.disabled },
  }
}

// A box to tick, with its words beside it.
function tick(model, id, tell) {
  const box = made("input", {id, type: "checkbox"}), text = made("span")
  box.onchange = () => tell(box.checked)
  return {
    element: made("label", {className: "tick"}, box, text),
    described: box,
    fill: () => {},
    show: () => { box.checked = model.value; box.disabled = model.disabled; text.textContent = model.label },
  }
}

// A number that was typed, as it is taken: within its bounds; null where the field is empty and may be; undefined: none.
function taken_of(model, field, remark) {
  if (field.value.trim() === "" && model.optional && !field.validity.badInput) { remark(""); return null }
  const typed = field.valueAsNumber
  if (Number.isNaN(typed)) { return undefined }
  const within = Math.min(Math.max(typed, model.start ?? -Infinity), model.end ?? Infinity)
  const taken = model.whole ? Math.round(within) : within
  const room = `from ${model.start ?? "−∞"} to ${model.end ?? "∞"}${model.whole ? ", whole" : ""}`
  remark(taken === typed ? "" : `${typed} cannot be: ${room}. Taken: ${taken}.`)
  return taken
}

function field_of(model, id, tell, remark) {
  const field = made("input", {id, type: "number", step: model.step ?? "any", inputMode: model.whole ? "numeric" : "decimal"})
  const show = () => {
    field.value = model.value ?? ""
    field.min = model.start ?? ""
    field.max = model.end ?? ""
    field.disabled = model.disabled
    if (model.optional) { field.placeholder = "none" }
  }
  field.onchange = () => {
    const taken = taken_of(model, field, remark)
    if (taken === undefined) { show() } else { tell(taken) }
  }
  // Turning the wheel over a page is no wish for another number.
  field.addEventListener("wheel", () => field.blur(), {passive: true})
  return {field, show}
}

// A number to slide to, and beside it the field to type it in. What is dragged is said at once, one value at a time.
function slider(model, id, tell, remark) {
  const typed = field_of(model, id, tell, remark)
  const range = made("input", {
    type: "range", min: model.reach[0] ?? model.start, max: model.reach[1] ?? model.end, step: model.step ?? "any",
  })
  range.setAttribute("aria-label", `${model.label}, slider`)
  let sent = 0, taken = 0, waiting = null
  const say = (value) => { waiting = null; sent += 1; tell(value); model.send_msg({sent}) }
  model.on("msg:custom", (heard) => {
    taken = heard.taken
    if (waiting !== null && taken >= sent) { say(waiting) }
  })
  const dragged = () => {
    const value = Number(range.valueAsNumber.toPrecision(6))
    typed.field.value = value
    if (taken >= sent) { say(value) } else { waiting = value }
  }
  range.oninput = dragged
  const show = () => {
    typed.show()
    if (document.activeElement !== range) { range.value = model.value ?? range.min }
    range.disabled = model.disabled
    range.classList.toggle("idle", model.value === null)
  }
  return {element: made("div", {className: "slide"}, range, typed.field), described: typed.field, fill: () => {}, show}
}

// A field for a number, within its bounds; what is none is taken back.
function number(model, id, tell, remark) {
  const {field, show} = field_of(model, id, tell, remark)
  return {element: made("div", {}, field), described: field, fill: () => {}, show}
}

const LOOKS = {list: drop_down, buttons, several, search, number, slider, words, tick}

export function render({model}) {
  const id = `control-${++count}`, grouped = ["buttons", "several"].includes(model.look)
  const told = ["list", "buttons", "several", "search"].includes(model.look) ? "chosen" : "value"
  const tell = (wanted) => {
    box.dispatchEvent(new CustomEvent("asked", {bubbles: true, composed: true}))
    model[told] = wanted
    part.show()
  }
  // Says in the place of the explanation what was wrong with what was typed.
  const remark = (text) => {
    hint.textContent = text || model.hint
    hint.classList.toggle("wrong", Boolean(text))
    mark.hidden = !model.hint
    if (text) { come() } else if (!box.matches(":focus-within")) { go() }
  }
  const part = LOOKS[model.look](model, id, tell, remark)
  const label = grouped ? made("legend") : made("label", {htmlFor: id})
  // The explanation comes forth when it is asked for, over what stands below, and goes again.
  const hint = made("p", {className: "hint", id: `${id}-hint`, popover: "manual"})
  hint.setAttribute("aria-live", "polite")
  const mark = made("span", {className: "ask"}, "?")
  mark.setAttribute("aria-hidden", "true")  // the control itself is described by it
  const box = made(grouped ? "fieldset" : "div", {className: "control"}, part.element, mark, hint)
  const come = () => {
    if (!hint.textContent || !box.isConnected) { return }
    const at = box.getBoundingClientRect()
    hint.style.width = `${Math.max(at.width, 200) - 22}px`
    hint.style.left = `${Math.max(8, Math.min(at.left, window.innerWidth - Math.max(at.width, 200) - 8))}px`
    hint.showPopover()
    const below = at.bottom + 4
    const room = window.innerHeight - below > hint.offsetHeight + 8
    hint.style.top = `${room ? below : Math.max(4, at.top - hint.offsetHeight - 4)}px`
  }
  const go = () => { if (hint.matches(":popover-open")) { hint.hidePopover() } }
  mark.addEventListener("pointerenter", come)
  mark.addEventListener("pointerleave", () => { if (!hint.classList.contains("wrong")) { go() } })
  mark.addEventListener("click", come)
  box.addEventListener("focusin", (event) => { if (event.target.matches(":focus-visible")) { come() } })
  box.addEventListener("focusout", (event) => {
    if (box.contains(event.relatedTarget)) { return }
    if (hint.classList.contains("wrong")) { window.setTimeout(() => remark(""), WRONG_MS) } else { go() }
  })
  box.addEventListener("keydown", (event) => { if (event.key === "Escape") { go() } })
  model.on("remove", go)
  if (model.look !== "tick") { box.prepend(label) } else { mark.classList.add("at-tick") }  // a box to tick has its words beside it
  const words = () => {
    label.textContent = model.label
    remark("")
    if (model.hint) { (part.described ?? box).setAttribute("aria-describedby", hint.id) }
    part.show()
  }
  const all = () => { part.fill(); part.show() }
  model.on(["label", "hint"], words)
  if (told === "chosen") { model.on("labels", all) } else if (["number", "slider"].includes(model.look)) { model.on(["start", "end"], part.show) }
  model.on([told, "disabled"], part.show)
  all()
  words()
  return box
}
