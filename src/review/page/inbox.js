// The inbox: the exams of a folder by day, with what is open, signed and sent.
import { make, find, fill, ask, say, placeTime } from "./make.js";

/** How often the list is read again: exams come in while it is open. */
const AGAIN_MS = 15000;
let rows = [];

const dayOf = (row) => {
  if (!row.started_at) return "Cannot be read";
  const there = new Date(new Date(row.started_at).getTime() + row.utc_offset_s * 1000);
  return there.toLocaleDateString("en-GB", { dateStyle: "full", timeZone: "UTC" });
};

/** Where an exam is on its way: one word, which does not depend on colour. */
function standing(row) {
  if (row.problem) return ["broken", row.problem];
  if (row.recording) return ["waits", "still being recorded, or never closed"];
  if (row.signed) return ["done", `signed by ${row.signed_by}`];
  if (row.signed_by) return ["waits", `changed since ${row.signed_by} signed`];
  return ["waits", row.open ? "to be reviewed" : "to be signed"];
}

function line(row) {
  const [kind, words] = standing(row);
  const time = row.started_at ? placeTime(row.started_at, row.utc_offset_s) : "";
  const open = row.problem ? "" : row.open === 1 ? "1 question open" : `${row.open} questions open`;
  return make("li", {}, make("a", { class: `exam ${kind}`, href: `e/${encodeURIComponent(row.name)}/` },
    make("strong", {}, row.horse || row.name), make("span", {}, [time, row.person, row.horse ? row.name : null].filter(Boolean).join(", ")),
    make("span", {}, open), make("span", { class: "standing" }, words), make("span", {}, row.sent ? "sent" : row.problem ? "" : "not sent")),
  row.has_course ? make("a", { class: "course", href: `e/${encodeURIComponent(row.name)}/api/report?reader=course&form=pdf`, target: "_blank", rel: "noopener" }, `Course of ${row.horse || row.name} (PDF)`) : null);
}

function draw() {
  const at = document.activeElement?.getAttribute("href");
  const days = [...new Set(rows.map(dayOf))];
  fill(find("list"), days.map((day) => make("section", {}, make("h2", {}, day), make("ul", { class: "exams" }, rows.filter((row) => dayOf(row) === day).map(line)))));
  if (at) document.querySelector(`a[href="${CSS.escape(at)}"]`)?.focus();
  const waiting = rows.filter((row) => !row.signed && !row.problem).length;
  find("count").textContent = rows.length ? `${rows.length === 1 ? "1 exam" : `${rows.length} exams`}, ${waiting} waiting` : find("search").value ? "No exam has that in its name." : "There is no exam in this folder yet.";
}

async function load() {
  const answer = await (await ask(`api/inbox?search=${encodeURIComponent(find("search").value)}`)).json();
  if (JSON.stringify(answer) === JSON.stringify(rows) && rows.length) return;
  rows = answer;
  draw();
}

const again = () => load().catch((error) => say(error.message, true));

function move(by) {
  const links = [...document.querySelectorAll("a.exam")];
  const at = links.indexOf(document.activeElement);
  links[Math.min(links.length - 1, Math.max(0, at + by))]?.focus();
}

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || event.repeat) return;
  if (event.target.matches("input") && !["ArrowDown", "Enter"].includes(event.key)) return;
  const next = rows.find((row) => !row.signed && !row.problem);
  const act = { ArrowDown: () => move(1), ArrowUp: () => move(-1), "/": () => find("search").focus(),
    e: () => { if (next) location.href = `e/${encodeURIComponent(next.name)}/`; else say("No exam is waiting."); } }[event.key];
  if (!act) return;
  event.preventDefault();
  act();
});
let typed;
find("search").addEventListener("input", () => { clearTimeout(typed); typed = setTimeout(again, 200); });
again();
setInterval(again, AGAIN_MS);
