// Check and Hint of an answer box. They only send, and take nothing from the kernel: a page that is too busy to set up
// a widget of this kind within two seconds drops all that the kernel says to it later (anywidget 0.11). They send along
// what the fields show: a field's own message may still wait when a button is pressed (the browser keeps it back while
// the kernel is busy), and then an older answer would be judged.
const FIELD = "pourprint-field-";
function render({ model, el }) {
  const filled = () => Object.fromEntries(
    [...el.closest(".pourprint-exercise").querySelectorAll(`[class*="${FIELD}"]`)].map(node => {
      const mark = [...node.classList].find(name => name.startsWith(FIELD));
      const control = node.querySelector("input, select");
      return [mark.slice(FIELD.length), control.tagName === "SELECT" ? control.selectedIndex : control.value];
    }));
  for (const [press, text, title] of [
    ["check", "Check", "check and save your answer"],
    ["hint", "Hint", "open the next hint"],
  ]) {
    const button = document.createElement("button");
    button.className = "lm-Widget jupyter-widgets jupyter-button widget-button";
    button.textContent = text;
    button.title = title;
    button.addEventListener("click", () => model.send({ press, fields: filled() }));
    el.append(button);
  }
  // A screen reader hears which exercise a field belongs to when the box is a group with a name.
  const start = requestAnimationFrame(function attach() {
    const box = el.closest(".pourprint-exercise"), title = box?.querySelector("h4");
    if (!title) return requestAnimationFrame(attach);
    box.setAttribute("role", "group");
    // Without this JupyterLab takes arrow keys from a menu in command mode, and moves to another cell.
    box.addEventListener("focusin", event => event.target.setAttribute("data-lm-suppress-shortcuts", "true"));
    box.setAttribute("aria-label", "exercise: " + title.firstChild.textContent.trim());
  });
  return () => cancelAnimationFrame(start);
}
export default { render };
