// Markup of the dashboard's own: see plain.py.

export function render({model}) {
  const box = document.createElement("div")
  const show = () => { box.innerHTML = model.object }
  model.on("object", show)
  show()
  return box
}
