// Everything that records works without this script. It makes three things easier: a scanner's Enter goes on to the next
// field, what was typed outlives a lost connection, and a form that could not be sent is sent when the connection is back.
"use strict";

const net = document.getElementById("net");
const say = (text) => { net.textContent = text; net.hidden = !text; };

// A scanner ends each code with Enter. In a field that is scanned, that means the next field, not the whole form.
document.addEventListener("keydown", (event) => {
  const field = event.target;
  if (event.key !== "Enter" || !(field instanceof HTMLInputElement) || !field.hasAttribute("data-scan")) return;
  const fields = [...field.form.querySelectorAll("input:not([type=hidden]):not([type=checkbox]):not([type=file]), select, textarea, button.main")].filter((f) => f.offsetParent !== null);
  const over = field.dataset.scan === "over"; // a quantity among many lots: past its unit, to the next that is scanned or typed
  const next = fields.slice(fields.indexOf(field) + 1).find((f) => !over || !f.matches("select"));
  if (!next) return;
  event.preventDefault();
  next.focus();
  moved = true;
});
let moved = false; // the rest of that Enter comes to the field just reached, and is not meant for it
document.addEventListener("keypress", (event) => { if (moved && event.key === "Enter") event.preventDefault(); });
document.addEventListener("keyup", () => { moved = false; });

// What is typed is kept in this browser until it is recorded.
const keyOf = (form) => "typed " + form.getAttribute("action") + location.search;
const cells = (form) => [...form.elements].filter((f) => f.name && f.type !== "hidden" && f.type !== "password" && f.type !== "file" && f.type !== "submit");

function keep(form) {
  const typed = {};
  for (const f of cells(form)) typed[f.name] = f.type === "checkbox" ? f.checked : f.value;
  try { sessionStorage.setItem(keyOf(form), JSON.stringify(typed)); } catch { /* no room: nothing is lost but comfort */ }
}

function restore(form) {
  let typed;
  try { typed = JSON.parse(sessionStorage.getItem(keyOf(form)) || "null"); } catch { return; }
  for (const f of typed ? cells(form) : []) {
    if (f.type === "checkbox") f.checked = f.checked || typed[f.name] === true;
    else if (!f.value && typed[f.name]) f.value = typed[f.name];
  }
}

function adopt(form) {
  form.addEventListener("input", () => keep(form));
  form.addEventListener("submit", (event) => { event.preventDefault(); send(form, event.submitter); });
}

for (const form of document.querySelectorAll("form[data-keep]")) {
  restore(form);
  adopt(form);
}

async function send(form, button) {
  const filled = new FormData(form, button);
  const body = form.enctype === "multipart/form-data" ? filled : new URLSearchParams(filled);
  for (const b of form.querySelectorAll("button")) b.disabled = true;
  for (let wait = 2; ; wait = Math.min(wait * 2, 30)) {
    let answer;
    try {
      answer = await fetch(form.action, { method: "POST", body, credentials: "same-origin" });
    } catch {
      say("Not recorded yet: there is no connection. Keep this page open; it is sent when the connection is back.");
      await new Promise((done) => { setTimeout(done, wait * 1000); addEventListener("online", done, { once: true }); });
      continue;
    }
    say("");
    if (answer.redirected) { // recorded
      sessionStorage.removeItem(keyOf(form));
      location.assign(answer.url);
      return;
    }
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    document.title = page.title;
    document.getElementById("main").replaceWith(page.getElementById("main"));
    for (const again of document.querySelectorAll("form[data-keep]")) adopt(again);
    (document.querySelector("main [aria-invalid]") || document.querySelector("main [autofocus]") || document.getElementById("main")).focus();
    if (!answer.ok) window.scrollTo(0, 0); // what was wrong stands on top
    return;
  }
}

// Where somebody is, marked in the row of places.
for (const a of document.querySelectorAll(".moments a")) if (location.pathname.startsWith(a.getAttribute("href"))) a.setAttribute("aria-current", "page");
