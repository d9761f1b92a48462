// Everything that records works without this script. It makes three things easier: a scanner's Enter goes on to the next
// field, what was typed outlives a lost connection, and a form that could not be sent is sent when the connection is back.
"use strict";

const net = document.getElementById("net");
const say = (text) => { net.textContent = text; net.hidden = !text; };

// A scanner ends each code with Enter. In a field that is scanned, that means the next field, not the whole form.
document.addEventListener("keydown", (event) => {
  const field = event.target;
  if (event.key !== "Enter" || !(field instanceof HTMLInputElement) || !field.hasAttribute("data-scan")) return;
  const fields = [...field.form.querySelectorAll("input:not([type=hidden]), select, textarea, button.main")].filter((f) => f.offsetParent !== null);
  const next = fields[fields.indexOf(field) + 1];
  if (!next) return;
  event.preventDefault();
  next.focus();
});

// What is typed is kept in this browser until it is recorded.
const keyOf = (form) => "heeltap " + (form.elements.form ? form.elements.form.value : location.pathname);
const cells = (form) => [...form.elements].filter((f) => f.name && f.type !== "hidden" && f.type !== "password" && f.type !== "file");

for (const form of document.querySelectorAll("form[data-keep]")) {
  form.addEventListener("input", () => {
    const typed = {};
    for (const f of cells(form)) typed[f.name] = f.value;
    try { sessionStorage.setItem("typed " + location.pathname + location.search, JSON.stringify(typed)); } catch { /* no room: nothing is lost but comfort */ }
  });
  form.addEventListener("submit", (event) => { event.preventDefault(); send(form); });
  restore(form);
}

function restore(form) {
  let typed;
  try { typed = JSON.parse(sessionStorage.getItem("typed " + location.pathname + location.search) || "null"); } catch { return; }
  if (!typed) return;
  for (const f of cells(form)) if (!f.value && typed[f.name]) f.value = typed[f.name];
}

async function send(form) {
  const button = form.querySelector("button.main");
  if (button) { button.disabled = true; button.setAttribute("aria-busy", "true"); }
  const body = form.enctype === "multipart/form-data" ? new FormData(form) : new URLSearchParams(new FormData(form));
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
      sessionStorage.removeItem("typed " + location.pathname + location.search);
      location.assign(answer.url);
      return;
    }
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    document.title = page.title;
    document.getElementById("main").replaceWith(page.getElementById("main"));
    for (const again of document.querySelectorAll("form[data-keep]")) again.addEventListener("submit", (e) => { e.preventDefault(); send(again); });
    (document.querySelector("[aria-invalid]") || document.getElementById("main")).focus();
    window.scrollTo(0, 0);
    return;
  }
}

// Where somebody is, marked in the row of places.
for (const a of document.querySelectorAll(".moments a")) if (location.pathname.startsWith(a.getAttribute("href"))) a.setAttribute("aria-current", "page");
