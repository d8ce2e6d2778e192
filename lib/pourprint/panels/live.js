// A chart of the course: plotly's library comes once a page, the whole picture with every change.
// This module stays small and returns at once: a widget's runtime gives it two seconds.

const PATIENCE_MS = 20000; // after which a library that was asked for may be asked for again

// The library, asked of the kernel by the first chart of a page that needs it.
function library(told) {
  const page = (window.pourprint ??= {});
  if (!page.plotly || (!page.plotly.came && Date.now() - page.plotly.asked > PATIENCE_MS)) {
    page.plotly = { asked: Date.now() };
    page.plotly.promise = new Promise(resolve => {
      told.on("msg:custom", (message, [script]) => {
        if (message.bring !== "library" || page.plotly.came) return;
        page.plotly.came = true;
        // Given a module of its own, it looks for no loader of the page.
        const module = { exports: {} };
        new Function("module", "exports", "define", new TextDecoder().decode(script))(module, module.exports);
        resolve(module.exports);
      });
    });
    told.send({ ask: "library" });
  }
  return page.plotly.promise;
}

// Traces and layout as plotly takes them; columns of numbers come beside the text, in one piece.
function picture({ text, numbers }) {
  const found = JSON.parse(text);
  const all = new Float64Array(numbers.buffer.slice(numbers.byteOffset, numbers.byteOffset + numbers.byteLength));
  for (const trace of found.data)
    for (const axis of ["x", "y"])
      if (trace[axis]?.column) trace[axis] = all.subarray(...trace[axis].column);
  return found;
}

async function render({ model, el }) {
  const told = await model.widget_manager.get_model(model.get("told").replace("IPY_MODEL_", ""));
  let plotly, width = 0;
  const draw = () => {
    if (!plotly || !width) return;
    const { data, layout } = picture(told.get("news"));
    // With its width given, plotly need not measure the box, for which the page would be laid out anew.
    plotly.react(el, data, { ...layout, width, autosize: false }, { displayModeBar: false });
  };
  const watch = new ResizeObserver(([box]) => {
    const wide = Math.floor(box.contentRect.width);
    if (wide !== width) draw((width = wide));
  });
  told.on("change:news", draw);
  watch.observe(el);
  library(told).then(found => draw((plotly = found)));
  return () => {
    watch.disconnect();
    told.off("change:news", draw);
    plotly?.purge(el);
    plotly = null;
  };
}

export default { render };
