// A button on which a file is dropped, or which lets one be chosen. The file is sent in pieces, each when the one before
// has come: servers cut the line at messages beyond 10 MB.
const PIECE = 1 << 20;
async function render({ model, el }) {
  const told = await model.widget_manager.get_model(model.get("told").replace("IPY_MODEL_", ""));
  const button = document.createElement("button"), input = document.createElement("input");
  button.className = "pourprint-drop";
  input.type = "file";
  input.hidden = true;
  input.accept = model.get("accept");
  input.setAttribute("aria-label", "file");
  el.append(button, input);
  let file = null, sent = 0;
  const say = text => { button.textContent = text; };
  const rest = () => say(told.get("news"));
  const next = async () => {
    if (!file || sent >= file.size) return;
    const piece = await file.slice(sent, sent + PIECE).arrayBuffer(), first = sent === 0;
    sent += piece.byteLength;
    say(`${file.name}: ${Math.round(100 * sent / file.size)} % read`);
    model.send({ name: file.name, first, last: sent >= file.size }, undefined, [piece]);
  };
  const take = chosen => {
    if (!chosen) return;
    const most = model.get("most");
    if (chosen.size > most) return say(`${chosen.name} has ${Math.ceil(chosen.size / 1e6)} MB; at most ${most / 1e6} MB are read here.`);
    file = chosen;
    sent = 0;
    next();
  };
  button.onclick = () => { input.value = ""; input.click(); };
  input.onchange = () => take(input.files[0]);
  button.ondragover = event => event.preventDefault();
  button.ondrop = event => { event.preventDefault(); event.stopPropagation(); take(event.dataTransfer.files[0]); };
  told.on("change:news", rest);
  told.on("msg:custom", next);
  rest();
  return () => { told.off("change:news", rest); told.off("msg:custom", next); };
}
export default { render };
