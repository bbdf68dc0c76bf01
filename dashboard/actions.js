// What is pressed: see actions.py.

const PIECE = 3 * 1024 * 1024  // bytes of a file in one message
let count = 0

function made(tag, properties = {}, ...children) {
  const element = Object.assign(document.createElement(tag), properties)
  element.append(...children)
  return element
}

const ask = (element) => element.dispatchEvent(new CustomEvent("asked", {bubbles: true, composed: true}))

// A button whose words, look and state follow the model.
function button(model, act) {
  const element = made("button", {type: "button"})
  element.addEventListener("click", () => { ask(element); act() })
  const show = () => {
    element.textContent = model.label
    element.className = model.look
    element.disabled = model.disabled
    element.title = model.more ?? ""
  }
  model.on(["label", "disabled"], show)
  show()
  return element
}

function press(model) {
  return button(model, () => { model.clicks += 1 })
}

function bytes_of(text) {
  return Uint8Array.from(atob(text), (c) => c.charCodeAt(0))
}

function save(model) {
  const element = button(model, () => {
    element.disabled = true
    model.send_msg({wanted: true})
  })
  element.classList.add("save")
  model.on("msg:custom", (data) => {
    element.disabled = model.disabled
    if (!data.file) { return }
    const url = URL.createObjectURL(new Blob([bytes_of(data.contents)]))
    made("a", {href: url, download: data.file}).click()
    window.setTimeout(() => URL.revokeObjectURL(url), 60000)
  })
  return element
}

// A row of small buttons, one for each form.
function take(model) {
  const row = made("div", {className: "take"})
  row.setAttribute("role", "group")
  row.setAttribute("aria-label", model.label)
  if (model.told) {
    row.classList.add("main")
    row.append(made("span", {}, `${model.label}:`))
  }
  for (const form of model.forms) {
    const element = made("button", {type: "button", className: "quiet", title: `${model.label} as ${form.toUpperCase()}`}, form.toUpperCase())
    element.setAttribute("aria-label", `${model.label} as ${form.toUpperCase()}`)
    element.addEventListener("click", () => { ask(element); row.classList.add("busy"); model.send_msg({wanted: form}) })
    row.append(element)
  }
  model.on("msg:custom", (data) => {
    row.classList.remove("busy")
    row.title = data.wrong ?? ""
    if (data.wrong) { window.alert(data.wrong) }
    if (!data.file) { return }
    const url = URL.createObjectURL(new Blob([bytes_of(data.contents)]))
    made("a", {href: url, download: data.file}).click()
    window.setTimeout(() => URL.revokeObjectURL(url), 60000)
  })
  return row
}

function text_of(bytes) {
  let text = ""
  for (let at = 0; at < bytes.length; at += 0x8000) { text += String.fromCharCode(...bytes.subarray(at, at + 0x8000)) }
  return btoa(text)
}

// A file that is dropped beside its place would have the browser leave the page for it.
function keep_page() {
  if (document.documentElement.dataset.keepsPage) { return }
  document.documentElement.dataset.keepsPage = "yes"
  for (const name of ["dragover", "drop"]) {
    document.addEventListener(name, (event) => { if (event.dataTransfer?.types.includes("Files")) { event.preventDefault() } })
  }
}

function upload(model, view) {
  if (view.root.el.closest("[data-root-id]")?.parentElement === document.body) { keep_page() }

  const id = `upload-${++count}`
  const input = made("input", {type: "file", id, accept: model.accept, multiple: model.several})
  const label = made("label", {htmlFor: id, className: model.look}, model.label)
  const told = made("p", {className: "hint", id: `${id}-hint`}), place = made("div", {className: `drop ${model.look}`}, input, label)
  if (model.look === "main") { place.append(made("span", {}, `or drop ${model.several ? "them" : "it"} here`)) }
  const say = (text) => { told.textContent = text || model.hint; told.hidden = !told.textContent }
  input.setAttribute("aria-describedby", told.id)
  told.setAttribute("role", "status")
  let answered = () => {}, number = 0, at_work = false, turned_away = ""
  model.on("msg:custom", (answer) => {
    turned_away = answer.refused ?? turned_away
    answered(answer.got)
  })
  const arrived = (wanted) => new Promise((go_on) => { answered = (got) => { if (got === wanted) { go_on() } } })

  async function send(files) {
    const most = model.most_mb * 1e6, small = files.filter((file) => file.size <= most)
    const large = files.filter((file) => file.size > most).map((file) => file.name)
    const refused = large.length ? `${large.join(", ")}: more than ${model.most_mb} MB, not opened.` : ""
    for (const [i, file] of small.entries()) {
      if (turned_away) { break }
      const pieces = Math.max(1, Math.ceil(file.size / PIECE))
      for (let k = 0; k < pieces && !turned_away; k++) {
        if (pieces > 1) { say(`${file.name}: ${Math.round(100 * k / pieces)} % read …`) }
        const part = new Uint8Array(await file.slice(k * PIECE, (k + 1) * PIECE).arrayBuffer())
        const here = arrived(++number), last = k === pieces - 1
        if (last) { ask(place) }
        model.send_msg({
          name: file.name, number, piece: text_of(part), start: i === 0 && k === 0, first: k === 0, last,
          final: last && i === small.length - 1,
        })
        await here
      }
    }
    say([refused, turned_away].filter(Boolean).join(" "))
    turned_away = ""
  }

  async function take(files) {
    if (at_work || model.disabled || !files.length) { return }
    at_work = true
    try { await send(files) } finally { at_work = false; input.value = "" }
  }

  input.addEventListener("change", () => take([...input.files]))
  place.addEventListener("dragover", (event) => { event.preventDefault(); place.classList.add("over") })
  place.addEventListener("dragleave", () => place.classList.remove("over"))
  place.addEventListener("drop", (event) => {
    event.preventDefault()
    place.classList.remove("over")
    take([...event.dataTransfer.files].slice(0, model.several ? undefined : 1))
  })
  model.on("hint", () => say(""))
  say("")
  return made("div", {}, place, told)
}

function turn(model) {
  const where = made("span", {className: "where"})
  const to = (page) => { ask(where); model.value = page }
  const step = (text, name, target) => {
    const element = made("button", {type: "button", className: "plain"}, text)
    element.setAttribute("aria-label", name)
    element.addEventListener("click", () => to(target()))
    return element
  }
  const last = () => model.count - 1
  const back = [step("«", "First page", () => 0), step("‹", "Page before", () => Math.max(model.value - 1, 0))]
  const on = [step("›", "Next page", () => Math.min(model.value + 1, last())), step("»", "Last page", last)]
  const show = () => {
    where.textContent = `Page ${model.value + 1} of ${model.count}`
    for (const element of back) { element.disabled = model.value <= 0 }
    for (const element of on) { element.disabled = model.value >= last() }
  }
  model.on(["value", "count"], show)
  show()
  const row = made("div", {className: "turn"}, ...back, where, ...on)
  row.setAttribute("role", "group")
  row.setAttribute("aria-label", model.label)
  return row
}

function fold(model) {
  const element = made("button", {type: "button"})
  const show = () => {
    element.textContent = model.label
    element.setAttribute("aria-expanded", String(model.open))
  }
  element.addEventListener("click", () => { ask(element); model.open = !model.open; show() })
  model.on(["label", "open"], show)
  show()
  return made(`h${model.level}`, {className: "fold"}, element)
}

const KINDS = {press, save, take, upload, turn, fold}

export function render({model, view}) {
  return KINDS[model.kind](model, view)
}
