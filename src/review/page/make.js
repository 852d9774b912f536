// Makes elements and talks to the desk's server. Text always goes in as text, never as markup.

/** An element with properties, listeners (`onclick`), attributes and children; strings become text. */
export function make(tag, props = {}, ...children) {
  const node = document.createElement(tag);
  for (const [key, value] of Object.entries(props)) {
    if (value === undefined || value === null || value === false) continue;
    if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
    else if (key === "class") node.className = value;
    else if (key in node && typeof value !== "string") node[key] = value;
    else node.setAttribute(key, value === true ? "" : value);
  }
  node.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== false));
  return node;
}

export const find = (id) => document.getElementById(id);
/** Who is at the desk, as typed. */
export const me = () => find("by").value.trim();

/** Replaces what is inside an element. */
export function fill(node, ...children) {
  node.replaceChildren(...children.flat().filter((child) => child !== null && child !== undefined && child !== false));
}

/** Makes these nodes the children of an element, in this order; what stays is not touched, so that focus and clicks survive. */
export function keep(node, children) {
  const wanted = new Set(children);
  [...node.children].filter((child) => !wanted.has(child)).forEach((child) => child.remove());
  children.forEach((child, idx) => { if (node.children[idx] !== child) node.insertBefore(child, node.children[idx] ?? null); });
}

/** Findings name things in backticks; people read them in quotation marks, and begin with a capital. */
export const quoted = (text) => text.replace(/`([^`]*)`/g, "“$1”").replace(/^./u, (first) => first.toUpperCase());

/** Says something to everybody; screen readers hear it. */
export function say(text, bad = false, isNews = false) {
  const place = find(bad ? "alarm" : "said");
  // An alarm does not stay beside the success that followed it; what others did ends nobody's alarm.
  for (const one of isNews ? [place] : [find("alarm"), find("said")]) { one.textContent = ""; clearTimeout(one.timer); }
  requestAnimationFrame(() => { place.textContent = text; });
  place.timer = setTimeout(() => { place.textContent = ""; }, bad ? 12000 : 6000);
}

/** What the server gives for `path`, or an error whose message a person can read. */
export async function ask(path, body) {
  let answer;
  try {
    answer = await fetch(path, body === undefined ? {} : {
      method: "POST",
      headers: { "content-type": "application/json" },
      body: JSON.stringify(body),
    });
  } catch {
    throw new Error("The desk does not respond. Start zonecall review again and open the address it shows; everything you settled is saved.");
  }
  if (answer.ok) return answer;
  const text = await answer.text();
  let problem;
  try { problem = JSON.parse(text); } catch { problem = { message: text }; }
  // What a person may confirm all the same is marked by the program.
  const join = problem.message?.endsWith("?") ? " " : ": ";
  throw Object.assign(new Error([problem.message, problem.help].filter(Boolean).join(join)), { confirm: problem.confirm === true, signed: problem.signed === true });
}

/** Minutes and seconds since the start of the exam. */
export function clock(seconds) {
  if (seconds === null || seconds === undefined) return "no time";
  const whole = Math.max(0, seconds);
  const minutes = Math.floor(whole / 60);
  return `${minutes}:${(whole - minutes * 60).toFixed(1).padStart(4, "0")}`;
}

/** Day and time at the place of the exam, with its zone: the same on every computer that shows it. */
export function placeTime(instant, offsetS, dateStyle = "medium") {
  const minutes = Math.abs(Math.round(offsetS / 60));
  const two = (number) => String(number).padStart(2, "0");
  const zone = `UTC${offsetS < 0 ? "-" : "+"}${two(Math.floor(minutes / 60))}:${two(minutes % 60)}`;
  const there = new Date(new Date(instant).getTime() + offsetS * 1000);
  return `${there.toLocaleString("en-GB", { dateStyle, timeStyle: "short", timeZone: "UTC" })} (${zone})`;
}

export const key = (text) => make("kbd", {}, text);

/** A number from 0 upwards, with a point or a comma before its decimals; nothing else is guessed at. */
export function readNumber(text) {
  const number = /^\d+(?:[.,]\d+)?$/.test(text.trim()) ? Number(text.trim().replace(",", ".")) : NaN;
  if (!Number.isFinite(number)) throw new Error(`“${text.trim()}” is not a number from 0 upwards. Enter it such as 3.4 or 3,4.`);
  return number;
}
