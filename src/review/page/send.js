// The exam for the practice's archive: asks what goes where, sends it, and says what became of it.
import { make, find, fill, ask, me, say } from "./make.js";
import { openForm, STAY } from "./correct.js";
import { field, NAMES } from "./export.js";
import { working } from "./running-tasks.js";

const WHAT = [["all", "the stills, report and labels"], ["stills", "the stills only"]];

function ended(form, title, lines) {
  const close = make("button", { type: "button", class: "main", id: "f-sent", onclick: () => find("form").close() }, "Close");
  fill(form, make("h2", { id: "form-title" }, title), lines.map((line) => make("p", {}, line)), make("p", { class: "buttons" }, close));
  close.focus();
}

export async function sendForm() {
  const answer = await fetch("api/send");
  const reply = await answer.json();
  const peers = reply.peers ?? [];
  if (!peers.length) {
    say(answer.ok ? "The exam cannot be sent yet: name your archive in “peers.toml”, in the folder of the settings" : `${reply.message}; ${reply.help}`, true);
    return;
  }
  const peer = field("peer", "To", peers.map((name) => [name, name]));
  const what = field("what", "What", WHAT);
  const identity = field("identity", "The horse's name", NAMES);
  // The stills go as they are.
  what.querySelector("select").addEventListener("change", (event) => { identity.hidden = event.target.value !== "all"; });
  openForm("Send the exam as it is now", "Until a vet has signed, report and labels say that they are a draft. Sending twice does no harm; the journal keeps what was sent, where and when.",
    [make("div", { class: "row" }, peer, what), make("div", { class: "row" }, identity)], async (filled) => {
      const wanted = { by: me(), peer: filled.elements.peer.value, what: filled.elements.what.value, identity: filled.elements.identity.value };
      const done = await (await working(filled.querySelector(".under-way"), "Sending", ask("api/send", wanted), "send")).json();
      if (!filled.isConnected || !find("form").open) return STAY;
      ended(filled, done.whole ? "The exam is sent" : "Not all of it was taken", done.said.split("\n"));
      return STAY;
    }, "Send", { asksWhy: false });
}

find("send-open").addEventListener("click", sendForm);
