// A chart that came into view, or whose place became wider or narrower, takes its place's width: plotly listens to the
// window alone, and what is out of sight is not measured.
(({ parentElement }) => {
  const area = parentElement.closest(".jp-OutputArea");
  let timer = null;
  const fits = plot => {
    const drawn = plot.querySelector(".main-svg")?.getBoundingClientRect().width ?? 0;
    return !drawn || Math.abs(drawn - plot.getBoundingClientRect().width) < 3;
  };
  const ask = () => {
    if (![...area.querySelectorAll(".js-plotly-plot")].every(fits)) window.dispatchEvent(new Event("resize"));
  };
  const soon = () => { clearTimeout(timer); timer = setTimeout(ask, 400); };
  if (!area || area.dataset.pourprintFits) return; // of several charts in a cell, or of a cell run again
  area.dataset.pourprintFits = "watched";
  new ResizeObserver(soon).observe(area);
  new IntersectionObserver(soon).observe(area);
})(document.currentScript);
