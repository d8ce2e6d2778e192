// Names the controls of a panel for those who hear them: ipywidgets leaves sliders without a name.
function render({ el }) {
  const set = (node, key, text) => { if (node.getAttribute(key) !== text) node.setAttribute(key, text); };
  const name = box => box.querySelectorAll(".pourprint-row").forEach(row => {
    const label = row.querySelector(".pourprint-name"), unit = row.querySelector(".pourprint-unit");
    if (!label) return;
    const spoken = [label.textContent, unit?.textContent].filter(Boolean).join(", ");
    row.querySelectorAll(".noUi-handle, input, select").forEach(node => set(node, "aria-label", spoken));
    row.querySelectorAll("input").forEach(node => set(node, "inputmode", "decimal"));
    // JupyterLab takes arrow keys from a menu that has the focus, unless the menu itself says no.
    row.querySelectorAll("select").forEach(node => set(node, "data-lm-suppress-shortcuts", "true"));
    // A log slider counts places, and a plain one says every digit of 0.1 + 0.2: say the number of the field.
    const handle = row.querySelector(".noUi-handle[aria-valuetext]"), rungs = label.dataset.rungs;
    if (!handle) return;
    const number = rungs ? JSON.parse(rungs)[Math.round(Number(handle.getAttribute("aria-valuenow")))]
      : Number(parseFloat(handle.getAttribute("aria-valuetext")).toFixed(9));
    set(handle, "aria-valuetext", [number, unit?.textContent].join(" ").trim());
  });
  // Rows may be drawn after this, and the slider rewrites its own text on every move.
  // What plots and live text change is none of it, and they change much.
  const theirs = record => record.target.closest?.(".js-plotly-plot, .pourprint-live");
  const watch = new MutationObserver(records => { if (!records.every(theirs)) name(box); });
  let box;
  const start = requestAnimationFrame(function attach() {
    box = el.closest(".pourprint-panel");
    if (!box) return requestAnimationFrame(attach);
    name(box);
    watch.observe(box, { subtree: true, childList: true, attributeFilter: ["aria-valuenow", "aria-valuetext"] });
  });
  return () => { cancelAnimationFrame(start); watch.disconnect(); };
}
export default { render };
