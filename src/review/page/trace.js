// Tracing on a still: points, freehand, an ellipse, a distance, and a scale by hand; the program measures at once.
import { make, find, fill, ask, say, key, readNumber } from "./make.js";
import { frameShown } from "./cine.js";

const SVG = "http://www.w3.org/2000/svg";

/** Each tool: its name, how many points it takes at most, and how it is used. */
const TOOLS = {
  points: ["Points", Infinity, "Set points along the edge: click, or move the cross with the arrow keys and press Enter."],
  freehand: ["Freehand", Infinity, "Draw along the edge with the mouse or finger held down. By keyboard: Enter puts the pen down, the arrow keys draw, Enter lifts it."],
  ellipse: ["Ellipse", 3, "Set both ends of one axis, then a point on the edge between them."],
  distance: ["Distance", 2, "Set two points, then choose what you are measuring."],
  scale: ["Set the scale", 2, "For a still without a scale: set two marks on its depth scale and enter the distance between them."],
};

const listed = (words) => words.length < 2 ? words.join("") : `${words.slice(0, -1).join(", ")} and ${words.at(-1)}`;

function shape(tag, props) {
  const node = document.createElementNS(SVG, tag);
  for (const [key, value] of Object.entries(props)) node.setAttribute(key, String(value));
  return node;
}

/** The ellipse with these two ends of an axis, whose edge is as far from that axis as the third point. */
export function ellipseOf([a, b, side]) {
  const [dx, dy] = [b[0] - a[0], b[1] - a[1]];
  const long = Math.hypot(dx, dy);
  const away = long > 0 ? Math.abs((side[0] - a[0]) * dy - (side[1] - a[1]) * dx) / long : 0;
  return { shape: "ellipse", centre_px: [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2], half_axes_px: [long / 2, away], turned_deg: (Math.atan2(dy, dx) * 180) / Math.PI };
}

/** What was drawn on a still and not yet written: it outlives a reload of the page. */
function drafts(still) {
  const name = `trace ${still}`;
  return {
    read: () => JSON.parse(sessionStorage.getItem(name) ?? "null") ?? {},
    keep: (draft) => sessionStorage.setItem(name, JSON.stringify(draft)),
    drop: () => sessionStorage.removeItem(name),
  };
}

/** Opens tracing over the picture of a still; `change` writes a scale, `send` a value, `done` is called when it is over. */
export function traceOn(exam, row, figure, { by, change, send, done }) {
  // Of a loop it is this frame that is measured, whatever is shown later.
  const frame = frameShown(row.id);
  const image = figure.querySelector("img");
  const [width, height] = [image.naturalWidth, image.naturalHeight];
  const draft = drafts(frame ? `${row.id} ${frame}` : row.id);
  const { tool: before = "points", points = [], structure: traced = row.structure, lesion: part = false, lengths: all = false, term: said = "", apart: entered = "" } = draft.read();
  let tool = before;
  let cross = [width / 2, height / 2];
  let dragged = -1;
  let stretching = false;
  /** The point that the arrow keys move, and whether they draw. */
  let held = -1;
  let pen = false;
  let asked = 0;
  const glassPane = shape("svg", { viewBox: `0 0 ${width} ${height}`, class: "trace", tabindex: 0, role: "application",
    "aria-label": "Tracing: arrow keys move the cross, with Shift further; Enter sets a point, Space picks up the nearest point and drops it, Backspace removes the last point, Escape leaves" });
  const preview = make("p", { class: "preview", role: "status" });
  const structure = make("select", { id: "t-structure", onchange: () => keep() }, make("option", { value: "" }, "choose"),
    exam.codes.structures.map((one) => make("option", { value: one.code, selected: one.code === traced }, one.name)));
  const lesion = make("input", { type: "checkbox", id: "t-lesion", checked: part, onchange: () => { show(); keep(); size(); } });
  const lengths = make("input", { type: "checkbox", id: "t-lengths", checked: all, onchange: () => keep() });
  const term = make("select", { id: "t-term", onchange: () => { doubted(false); keep(); } }, make("option", { value: "" }, "choose"),
    exam.codes.terms.filter((one) => one.between).map((one) => make("option", { value: one.term, selected: one.term === said }, `${one.term} ${one.between}`)));
  const apart = make("input", { id: "t-apart", inputmode: "decimal", maxlength: "6", autocomplete: "off", value: entered, oninput: () => keep() });
  const wrong = make("p", { class: "wrong", role: "alert" });

  /** What an outline is written as besides its area. */
  const outlined = exam.codes.terms.filter((one) => one.outlined).map((one) => one.term);
  const most = () => TOOLS[tool][1];
  const isArea = () => most() > 2;
  const round = ([x, y]) => [Math.round(x * 100) / 100, Math.round(y * 100) / 100];
  const keep = () => draft.keep({ tool, points, structure: structure.value, lesion: lesion.checked, lengths: lengths.checked, term: term.value, apart: apart.value });
  const outline = () => tool === "ellipse" ? ellipseOf(points) : { shape: "polygon", points_px: points.map(round) };
  const onFrame = frame ? { frame_number: frame } : {};
  const body = (extra) => ({ by: by(), still: row.id, limb: row.limb ?? "", zone: row.zone ?? "", structure: structure.value,
    lesion: lesion.checked, lengths: lengths.checked, write: false, ...onFrame, ...extra });

  /** Asks the program for a size; an answer that was overtaken by a newer drawing is dropped. */
  async function measure(path, what, words) {
    const mine = (asked += 1);
    wrong.textContent = "";
    try {
      const size = await (await ask(path, what)).json();
      if (mine !== asked) return null;
      preview.textContent = words(size) + (size.scale_by_hand ? "; on a scale set by hand" : "");
      return size;
    } catch (error) { if (mine === asked) { preview.textContent = ""; wrong.textContent = error.message; } return null; }
  }
  const area = (extra) => measure("api/trace", body(extra), (size) => {
    const ratio = size.grey_ratio === null ? "" : `, grey inside against around ${size.grey_ratio.toFixed(2)}`;
    return `${size.area_mm2.toFixed(1)} mm², around ${size.circumference_mm.toFixed(1)} mm, ${size.width_mm.toFixed(1)} mm wide, ${size.depth_mm.toFixed(1)} mm deep${ratio}`;
  });

  function size() {
    if (pen) { asked += 1; preview.textContent = "The pen is down: the arrow keys draw, Enter lifts it."; return; }
    if (tool === "distance" && points.length === 2) measure("api/distance", { still: row.id, ends_px: points, ...onFrame }, (one) => `${one.distance_mm.toFixed(1)} mm from point to point`);
    else if (isArea() && points.length > 2) area({ outline: outline() });
    else {
      asked += 1;
      wrong.textContent = "";
      preview.textContent = tool === "scale" && points.length === 2
        ? `${Math.hypot(points[1][0] - points[0][0], points[1][1] - points[0][1]).toFixed(1)} pixels apart: how many centimetres is that?` : TOOLS[tool][2];
    }
  }

  /** The lines of what is drawn so far. */
  function edge(unit) {
    const style = { class: "edge", "stroke-width": 2 * unit };
    if (tool === "ellipse" && points.length === 3) {
      const { centre_px: [x, y], half_axes_px: [a, b], turned_deg: turn } = outline();
      return shape("ellipse", { cx: x, cy: y, rx: a, ry: b, transform: `rotate(${turn} ${x} ${y})`, ...style });
    }
    const line = points.map((point) => point.join(",")).join(" ");
    return shape(isArea() && tool !== "ellipse" ? "polygon" : "polyline", { points: line, ...style });
  }

  function draw() {
    const unit = width / Math.max(1, glassPane.clientWidth);
    // A hundred handles would hide the edge: then every eighth can be taken.
    const dots = points.flatMap(([x, y], idx) => points.length < 60 || idx % 8 === 0 || idx === held
      ? [shape("circle", { cx: x, cy: y, r: (idx === held ? 9 : 6) * unit, class: idx === held ? "corner held" : "corner", "stroke-width": 1.5 * unit })] : []);
    const [x, y] = cross;
    const arm = 9 * unit;
    glassPane.replaceChildren(edge(unit), ...dots, shape("path", { d: `M${x - arm} ${y}h${2 * arm}M${x} ${y - arm}v${2 * arm}`, class: "cross", "stroke-width": 1.5 * unit }));
  }
  function changed() { doubted(false); keep(); draw(); size(); }

  /** Sets a point at the cross; a tool that has all its points begins anew. */
  function set() {
    if (points.length >= most()) points.length = 0;
    points.push(cross);
  }

  /** Enter: lets a held point go, puts the pen down or lifts it, or sets a point. */
  function enter() {
    if (held >= 0) { held = -1; return; }
    if (tool !== "freehand") { set(); return; }
    pen = !pen;
    if (pen) points.splice(0, points.length, cross);
  }

  /** Space: takes hold of the point nearest to the cross, or lets it go. */
  function hold() {
    if (held >= 0 || pen || !points.length) { held = -1; return; }
    const far = points.map(([x, y]) => Math.hypot(x - cross[0], y - cross[1]));
    held = far.indexOf(Math.min(...far));
    cross = points[held];
    say(`Point ${held + 1} of ${points.length} is picked up: the arrow keys move it, Space drops it.`);
  }

  /** The cross takes a held point with it; the pen leaves a line. */
  function moveCross(by) {
    cross = within([cross[0] + by[0], cross[1] + by[1]]);
    if (held >= 0) { points[held] = cross; changed(); return; }
    if (pen) {
      const last = points.at(-1);
      if (Math.hypot(cross[0] - last[0], cross[1] - last[1]) >= 2) points.push(cross);
      keep();
    }
    draw();
  }

  const within = ([x, y]) => [Math.min(width, Math.max(0, x)), Math.min(height, Math.max(0, y))];
  function at(event) {
    const box = glassPane.getBoundingClientRect();
    return within([((event.clientX - box.left) / box.width) * width, ((event.clientY - box.top) / box.height) * height]);
  }
  /** How near a point is taken hold of, in pixels of the still: a finger hides more than a mouse. */
  let finger = false;
  const reach = () => ((finger ? 18 : 8) * width) / glassPane.clientWidth;
  const near = ([x, y]) => points.findIndex(([a, b]) => Math.hypot(a - x, b - y) < reach());
  glassPane.addEventListener("pointerdown", (event) => {
    glassPane.focus();
    finger = event.pointerType === "touch";
    held = -1;
    pen = false;
    cross = at(event);
    dragged = tool === "freehand" ? -1 : near(cross);
    if (dragged < 0) {
      if (tool === "freehand") points.length = 0;
      set();
      dragged = points.length - 1;
      stretching = tool === "freehand" || points.length === 1 && most() < 4;
    }
    glassPane.setPointerCapture(event.pointerId);
    changed();
  });
  glassPane.addEventListener("pointermove", (event) => {
    if (dragged < 0) return;
    cross = at(event);
    const gone = Math.hypot(cross[0] - points[dragged][0], cross[1] - points[dragged][1]);
    if (tool === "freehand" && stretching) {
      // A browser hands several movements over at once. Two pixels are fine enough for any edge, and coarse enough for a hand that trembles.
      const moves = event.getCoalescedEvents?.() ?? [];
      for (const point of (moves.length ? moves : [event]).map(at)) {
        const last = points.at(-1);
        if (Math.hypot(point[0] - last[0], point[1] - last[1]) >= 2) points.push(point);
      }
      dragged = points.length - 1;
      draw();
      return;
    }
    // Pulled from the first point on, the second one comes along.
    if (stretching) { if (gone < reach()) return; points.push(cross); dragged = 1; stretching = false; }
    points[dragged] = cross;
    changed();
  });
  const release = () => { if (dragged >= 0) { dragged = -1; stretching = false; changed(); } };
  glassPane.addEventListener("pointerup", release);
  glassPane.addEventListener("pointercancel", release);
  glassPane.addEventListener("keydown", (event) => {
    const step = (event.shiftKey ? 10 : 1);
    const move = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
    if (move) moveCross(move);
    else if (event.key === "Enter") enter();
    else if (event.key === " ") hold();
    else if (event.key === "Backspace") { held = -1; points.pop(); pen &&= points.length > 0; }
    else if (event.key === "Escape") { close(false); return; }
    else return;
    event.preventDefault();
    event.stopPropagation();
    if (!move) changed();
  });

  const suggest = async () => {
    const found = await area({ outline: null, click: cross });
    if (!found) return;
    choose("points");
    // All corners: with fewer of them the area would come out smaller.
    points.splice(0, points.length, ...found.corners);
    changed();
  };
  // Seen once, what is unusual is confirmed by the same button; what is drawn after that is another wish.
  let confirmed = false;
  function doubted(now) { confirmed = now; show(); }
  let writing = false;
  const once = (write) => async () => {
    if (writing) return;
    writing = true;
    wrong.textContent = "";
    try { await write(); } catch (error) { wrong.textContent = error.message; doubted(error.confirm === true); } finally { writing = false; }
  };
  const write = once(async () => {
    const { length_seqs: more } = await (await send("api/trace", body({ write: true, outline: outline() }))).json();
    close(more.length ? `The area is saved, with ${listed(outlined)}; they take the place of spoken values.` : "The area is saved; it takes the place of a spoken one.");
  });
  const writeDistance = once(async () => {
    if (points.length < 2) throw new Error("Set two points first.");
    if (!term.value) throw new Error("Choose what the two points measure.");
    const what = { by: by(), limb: row.limb ?? "", zone: row.zone ?? "", structure: structure.value, term: term.value };
    await send("api/distance", { still: row.id, ends_px: points.map(round), ...onFrame, confirmed, write: what });
    close(`The ${term.value} is saved; it takes the place of a spoken one.`);
  });
  const setScale = once(async () => {
    if (points.length < 2) throw new Error("Set two marks of the depth scale first.");
    if (!apart.value.trim()) throw new Error("Enter the distance between the two marks in centimetres.");
    const cm = readNumber(apart.value);
    if (cm < 0.5 || cm > 30) throw new Error("Two marks on a depth scale are 0.5 to 30 cm apart; pick two others, or enter their distance anew.");
    await change({ change: "scale", still: row.id, ends_px: points.map(round), distance_mm: cm * 10 });
    apart.value = "";
    choose("points");
    preview.textContent = "The scale of this still is set by hand, and everything measured on it says so.";
  });
  function close(written) {
    // What was drawn and not written is still there when tracing is opened again.
    if (written) draft.drop();
    glassPane.remove();
    panel.remove();
    done(written);
  }

  const choices = make("fieldset", { class: "tools" }, make("legend", { class: "hidden" }, "Tool"),
    Object.entries(TOOLS).map(([name, [words]]) => make("label", {},
      make("input", { type: "radio", name: "t-tool", value: name, id: `t-${name}`, checked: name === tool, onchange: () => choose(name) }), make("span", {}, words))));
  const onlyPart = make("p", { class: "check" }, lesion, make("label", { for: "t-lesion" }, "only the lesion"));
  const also = make("p", { class: "check" }, lengths, make("label", { for: "t-lengths" }, `save its ${listed(outlined)} as well, as it appears on the still`));
  const between = make("p", { class: "field" }, make("label", { for: "t-term" }, "Measured between the two points"), term);
  const whole = make("div", { class: "row" }, make("p", { class: "field" }, make("label", { for: "t-structure" }, "Structure"), structure), onlyPart, also, between);
  const marks = make("p", { class: "field" }, make("label", { for: "t-apart" }, "Centimetres between the two marks"), apart);
  const main = make("button", { type: "button", class: "main", id: "t-write", onclick: () => ({ scale: setScale, distance: writeDistance }[tool] ?? write)() });
  const proposal = make("button", { type: "button", id: "t-suggest", onclick: suggest }, "Suggest an outline at the cross");
  function choose(name) {
    // The same points are an area by points and freehand; for any other tool they mean nothing.
    const alike = ["points", "freehand"];
    if (name !== tool && !(alike.includes(name) && alike.includes(tool))) points.length = 0;
    tool = name;
    held = -1;
    pen = false;
    find(`t-${name}`).checked = true;
    show();
    changed();
  }
  function show() {
    whole.hidden = tool === "scale";
    onlyPart.hidden = proposal.hidden = !isArea();
    // A lesion has no lengths of its own in the list of values.
    also.hidden = !isArea() || lesion.checked || !outlined.length;
    between.hidden = tool !== "distance";
    marks.hidden = tool !== "scale";
    main.textContent = `${{ scale: "Set scale", distance: "Save distance" }[tool] ?? "Save area"}${confirmed ? " anyway" : ""}`;
  }
  const panel = make("div", { class: "tracing", role: "group", "aria-label": "Tracing" }, frame ? make("p", { class: "place" }, `On frame ${frame} of the loop`) : "", preview, wrong, choices, whole, marks,
    make("p", { class: "hint" }, "Arrow keys move the cross, ten pixels at a time with Shift. ", key("Space"), " picks up the nearest point so that the arrow keys move it, and drops it again."),
    make("p", { class: "buttons" }, main, proposal,
      make("button", { type: "button", id: "t-begin", onclick: () => { points.length = 0; held = -1; pen = false; changed(); glassPane.focus(); } }, "Start again"),
      make("button", { type: "button", id: "t-leave", onclick: () => close(false) }, "Leave")));
  fill(figure.querySelector(".glass"), image, glassPane);
  figure.append(panel);
  show();
  changed();
  glassPane.focus();
}
