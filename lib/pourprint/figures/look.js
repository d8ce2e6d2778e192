// A chart that came into view, or whose place became wider or narrower, takes its place's width: plotly listens to the
// window alone, and what is out of sight is not measured. Its height it keeps: a page that shows it before it is drawn
// leaves it none of its own, and with the next change of the window it would be gone. And it is drawn, in the page's
// colours, where a saved page has but a picture of it until a pointer enters it.
(({ parentElement }) => {
  const area = parentElement.closest(".jp-OutputArea");
  let timer = null;
  const drawn = () => [...area.querySelectorAll(".js-plotly-plot")].map(plot => ({
    plot, ...plot.querySelector(".main-svg")?.getBoundingClientRect().toJSON(),
  })).filter(one => one.width);
  const ask = () => {
    const fits = ({ plot, width }) => Math.abs(width - plot.getBoundingClientRect().width) < 3;
    if (!drawn().every(fits)) window.dispatchEvent(new Event("resize"));
  };
  const soon = () => {
    for (const { plot, height } of drawn()) plot.style.height ||= `${height}px`;
    clearTimeout(timer);
    timer = setTimeout(ask, 400);
  };
  const seen = changes => {
    const pictures = changes.at(-1).isIntersecting ? [...area.querySelectorAll(".plot-img[src]")] : [];
    for (const one of pictures) if (one.offsetParent) one.dispatchEvent(new Event("mouseenter"));
    soon();
  };
  if (!area || area.dataset.pourprintFits) return; // of several charts in a cell, or of a cell run again
  area.dataset.pourprintFits = "watched";
  new ResizeObserver(soon).observe(area);
  new IntersectionObserver(seen).observe(area);
})(document.currentScript);
