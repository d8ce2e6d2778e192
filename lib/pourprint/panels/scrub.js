// One section of a mould as it fills and freezes: a slider over the times, a button that plays ten frames a second.
const FRAME_MS = 100;

function render({ model, el }) {
  const { times, size, states, words, arrivals: raw } = model.get("film");
  const arrivals = new Float32Array(raw.buffer.slice(raw.byteOffset, raw.byteOffset + raw.byteLength));
  const names = Object.keys(states), colours = Object.values(states);
  const [wide, high] = size, cells = wide * high;
  el.classList.add("pourprint-scrub");
  el.innerHTML = `<p><b></b></p><canvas width="${wide}" height="${high}" role="img"></canvas>
    <div><button type="button">▶ play</button> <input type="range" min="0" max="${times.length - 1}" step="1" value="${times.length >> 1}">
    <output></output></div><p class="key"></p>`;
  const [canvas, button, slider, output] = ["canvas", "button", "input", "output"].map(name => el.querySelector(name));
  el.querySelector("b").textContent = words;
  el.querySelector(".key").innerHTML = names.map((name, i) => `<span style="color:${colours[i]}">■</span> ${name}`).join(" ");
  slider.setAttribute("aria-label", "time after the pour began");
  const ink = colours.map(colour => [1, 3, 5].map(k => parseInt(colour.slice(k, k + 2), 16)));
  const brush = canvas.getContext("2d"), sheet = brush.createImageData(wide, high);
  const draw = () => {
    const t = times[slider.value], count = [0, 0, 0, 0];
    for (let row = 0; row < high; row++) for (let column = 0; column < wide; column++) {
      const cell = row * wide + column, at = 4 * ((high - 1 - row) * wide + column);
      if (Number.isNaN(arrivals[cell])) { sheet.data[at + 3] = 0; continue; }
      let state = 0;
      for (let k = 0; k < 3; k++) if (arrivals[k * cells + cell] <= t) state = k + 1;
      sheet.data.set([...ink[state], 255], at);
      count[state]++;
    }
    brush.putImageData(sheet, 0, 0);
    const all = count.reduce((a, b) => a + b, 0) || 1;
    const said = names.map((name, i) => `${name} ${Math.round(100 * count[i] / all)}%`).join(", ");
    output.textContent = `${t.toFixed(t < 10 ? 2 : 0)} s`;
    slider.setAttribute("aria-valuetext", `${output.textContent}: ${said}`);
    canvas.setAttribute("aria-label", `${words}, after ${output.textContent}: ${said} of the section`);
  };
  let timer = null, opening = true; // it opens amid the film, where there is something to see
  const stop = () => { clearInterval(timer); timer = null; button.textContent = "▶ play"; };
  button.onclick = () => {
    if (timer) return stop();
    if (opening || +slider.value === times.length - 1) slider.value = 0;
    opening = false;
    button.textContent = "❚❚ stop";
    // By the clock: a busy machine leaves out frames and keeps the pace.
    const first = +slider.value, begin = performance.now();
    timer = setInterval(() => {
      slider.value = first + Math.round((performance.now() - begin) / FRAME_MS);
      draw();
      if (+slider.value === times.length - 1) stop();
    }, FRAME_MS);
  };
  slider.oninput = () => { opening = false; draw(); };
  // JupyterLab takes arrow keys from what has the focus, unless it says no.
  slider.setAttribute("data-lm-suppress-shortcuts", "true");
  draw();
  return stop;
}
export default { render };
