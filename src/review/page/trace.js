// Tracing on a still: points by mouse, finger or keyboard; the size is measured by the program as soon as there are three.
import { make, fill, ask } from "./make.js";

const SVG = "http://www.w3.org/2000/svg";

function shape(tag, props) {
  const node = document.createElementNS(SVG, tag);
  for (const [key, value] of Object.entries(props)) node.setAttribute(key, String(value));
  return node;
}

/** Opens tracing over the picture of a still; `done` is called when it is written or left. */
export function traceOn(exam, row, figure, by, done) {
  const image = figure.querySelector("img");
  const [width, height] = [image.naturalWidth, image.naturalHeight];
  const points = [];
  let cross = [width / 2, height / 2];
  let dragged = -1;
  let asked = 0;
  const sheet = shape("svg", { viewBox: `0 0 ${width} ${height}`, class: "trace", tabindex: 0, role: "application",
    "aria-label": "Tracing: arrow keys move the cross, with Shift further; Enter sets a point, Backspace takes the last one away" });
  const told = make("p", { class: "preview", role: "status" }, "Set points along the edge: click, or move the cross with the arrow keys and press Enter.");
  const structure = make("select", { id: "t-structure" }, make("option", { value: "" }, "choose"),
    exam.codes.structures.map((one) => make("option", { value: one.code, selected: one.code === row.structure }, one.name)));
  const lesion = make("input", { type: "checkbox", id: "t-lesion" });
  const wrong = make("p", { class: "wrong", role: "alert" });

  const body = (extra) => ({ by: by(), still: row.id, limb: row.limb ?? "", zone: row.zone ?? "", structure: structure.value,
    lesion: lesion.checked, write: false, outline: { shape: "polygon", points_px: points }, ...extra });

  async function measure(extra = {}) {
    const mine = (asked += 1);
    wrong.textContent = "";
    try {
      const size = await (await ask("/api/trace", body(extra))).json();
      if (mine !== asked) return null;
      const ratio = size.grey_ratio === null ? "" : `, grey inside against around ${size.grey_ratio.toFixed(2)}`;
      told.textContent = `${size.area_mm2.toFixed(1)} mm², around ${size.circumference_mm.toFixed(1)} mm, ${size.width_mm.toFixed(1)} mm wide, ${size.depth_mm.toFixed(1)} mm deep${ratio}`;
      return size;
    } catch (error) { if (mine === asked) wrong.textContent = error.message; return null; }
  }

  function draw() {
    const unit = width / Math.max(1, sheet.clientWidth);
    const line = shape("polygon", { points: points.map((point) => point.join(",")).join(" "), class: "edge", "stroke-width": 2 * unit });
    // A hundred handles would hide the edge: then every eighth can be taken.
    const dots = points.filter((_, idx) => points.length < 60 || idx % 8 === 0).map(([x, y]) => shape("circle", { cx: x, cy: y, r: 6 * unit, class: "corner", "stroke-width": 1.5 * unit }));
    const [x, y] = cross;
    const arm = 9 * unit;
    sheet.replaceChildren(line, ...dots, shape("path", { d: `M${x - arm} ${y}h${2 * arm}M${x} ${y - arm}v${2 * arm}`, class: "cross", "stroke-width": 1.5 * unit }));
    if (points.length > 2) measure();
  }

  function at(event) {
    const box = sheet.getBoundingClientRect();
    return [((event.clientX - box.left) / box.width) * width, ((event.clientY - box.top) / box.height) * height];
  }
  const near = ([x, y]) => points.findIndex(([a, b]) => Math.hypot(a - x, b - y) < (12 * width) / sheet.clientWidth);
  sheet.addEventListener("pointerdown", (event) => {
    sheet.focus();
    cross = at(event);
    dragged = near(cross);
    if (dragged < 0) { points.push(cross); dragged = points.length - 1; }
    sheet.setPointerCapture(event.pointerId);
    draw();
  });
  sheet.addEventListener("pointermove", (event) => { if (dragged >= 0) { cross = at(event); points[dragged] = cross; draw(); } });
  sheet.addEventListener("pointerup", () => { dragged = -1; });
  sheet.addEventListener("keydown", (event) => {
    const step = (event.shiftKey ? 10 : 1);
    const move = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
    if (move) cross = [Math.min(width, Math.max(0, cross[0] + move[0])), Math.min(height, Math.max(0, cross[1] + move[1]))];
    else if (event.key === "Enter") points.push(cross);
    else if (event.key === "Backspace") points.pop();
    else return;
    event.preventDefault();
    event.stopPropagation();
    draw();
  });

  const suggest = async () => {
    const size = await measure({ outline: null, click: cross });
    if (!size) return;
    // All corners: with fewer of them the area would come out smaller.
    points.splice(0, points.length, ...size.corners);
    draw();
  };
  let writing = false;
  const write = async () => {
    if (writing) return;
    writing = true;
    wrong.textContent = "";
    try {
      await ask("/api/trace", body({ write: true }));
      close(true);
    } catch (error) { wrong.textContent = error.message; } finally { writing = false; }
  };
  function close(written) { sheet.remove(); panel.remove(); done(written); }
  const panel = make("div", { class: "tracing", role: "group", "aria-label": "Tracing" },
    make("div", { class: "row" },
      make("p", { class: "field" }, make("label", { for: "t-structure" }, "Traced"), structure),
      make("p", { class: "check" }, lesion, make("label", { for: "t-lesion" }, "only the lesion in it"))),
    told, wrong,
    make("p", { class: "buttons" }, make("button", { type: "button", class: "main", id: "t-write", onclick: write }, "Write this area"),
      make("button", { type: "button", onclick: suggest }, "Suggest an edge at the cross"),
      make("button", { type: "button", onclick: () => { points.length = 0; draw(); } }, "Begin again"),
      make("button", { type: "button", onclick: () => close(false) }, "Leave")));
  fill(figure.querySelector(".glass"), image, sheet);
  figure.append(panel);
  draw();
  sheet.focus();
}
