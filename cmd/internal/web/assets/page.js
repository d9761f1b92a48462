// Everything that records works without this script. It makes three things easier: a scanner's Enter goes on to the next
// field, what was typed outlives a lost connection, and a form that could not be sent is sent when the connection is back.
"use strict";

const net = document.getElementById("net");
const say = (text) => { net.textContent = text; net.hidden = !text; };

// A scanner ends each code with Enter. In a field that is scanned, that means the next field, not the whole form.
let moved = false;
document.addEventListener("keydown", (event) => {
  const field = event.target;
  if (event.key !== "Enter" || !(field instanceof HTMLInputElement) || !field.hasAttribute("data-scan")) return;
  const fields = [...field.form.querySelectorAll("input:not([type=hidden]):not([type=checkbox]):not([type=file]), select, textarea, button.main")].filter((f) => f.offsetParent !== null);
  const over = field.dataset.scan === "over"; // a quantity among many lots: past its unit, to the next that is scanned or typed
  const next = fields.slice(fields.indexOf(field) + 1).find((f) => !over || !f.matches("select"));
  if (!next) return;
  event.preventDefault();
  moved = true;
  next.focus();
});
// The same Enter must not send the form from the field it has just come to.
document.addEventListener("keypress", (event) => { if (event.key === "Enter" && moved) event.preventDefault(); });
document.addEventListener("keyup", () => { moved = false; });

// What is typed is kept in this browser, for whoever typed it, until it is recorded. With what was sent goes the number of
// its form: it may have been recorded without the answer coming through, and then it is not recorded again.
const keyOf = (form) => "typed " + (document.body.dataset.who || "") + " " + form.getAttribute("action") + location.search;
const cells = (form) => [...form.elements].filter((f) => f.name && f.type !== "hidden" && f.type !== "password" && f.type !== "file" && f.type !== "submit");

function keep(form, sent) {
  const typed = sent ? { "": form.elements.form.value } : {};
  for (const f of cells(form)) typed[f.name] = f.type === "checkbox" ? f.checked : f.value;
  try { sessionStorage.setItem(keyOf(form), JSON.stringify(typed)); } catch { /* no room: nothing is lost but comfort */ }
}

function restore(form) {
  let typed;
  try { typed = JSON.parse(sessionStorage.getItem(keyOf(form)) || "null"); } catch { return; }
  if (typed && typed[""]) form.elements.form.value = typed[""];
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

let pending = false;
addEventListener("beforeunload", (event) => { if (pending) event.preventDefault(); });

async function send(form, button) {
  const filled = new FormData(form, button);
  const files = form.enctype === "multipart/form-data";
  const body = files ? filled : new URLSearchParams(filled);
  for (const b of form.querySelectorAll("button")) b.disabled = true;
  keep(form, true);
  pending = true;
  for (let wait = 2; ; wait = Math.min(wait * 2, 30)) {
    let answer;
    try {
      answer = await fetch(form.action, { method: "POST", body, credentials: "same-origin", signal: AbortSignal.timeout(files ? 120000 : 20000) });
    } catch { /* no connection, or none to speak of */ }
    if (!answer || answer.status === 503) {
      say(answer ? "Not recorded yet: the server is busy. Keep this page open; it is sent again." : "Not recorded yet: there is no connection. Keep this page open; it is sent when the connection is back.");
      await new Promise((done) => { setTimeout(done, wait * 1000); addEventListener("online", done, { once: true }); });
      continue;
    }
    pending = false;
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

// One more lot of a delivery, at once and without sending what was typed.
document.addEventListener("click", (event) => {
  const button = event.target.closest("button[data-add]");
  if (!button) return;
  const all = button.form.querySelectorAll("fieldset.lot");
  const last = all[all.length - 1], next = last.cloneNode(true), n = all.length + 1;
  event.preventDefault();
  for (const e of next.querySelectorAll("*")) {
    for (const a of ["id", "for", "name", "list", "aria-describedby"]) if (e.hasAttribute(a)) e.setAttribute(a, e.getAttribute(a).replace(/\.\d+$/, "." + n));
    e.removeAttribute("aria-invalid");
    e.removeAttribute("autofocus");
    e.classList.remove("wrong");
    if (e.type === "checkbox") e.checked = false;
    else if (e.matches("input")) e.value = "";
    else if (e.matches("select")) e.selectedIndex = 0;
  }
  for (const e of next.querySelectorAll(".fault, .near")) e.remove();
  for (const e of next.querySelectorAll("details")) e.open = false;
  last.after(next);
  button.form.elements[button.dataset.add].value = n;
  button.form.querySelectorAll("fieldset.lot > legend").forEach((l, i) => { l.textContent = "Lot " + (i + 1); });
  next.querySelector("input").focus();
});

// Where somebody is, marked in the row of places.
for (const a of document.querySelectorAll(".moments a")) if (location.pathname.startsWith(a.getAttribute("href"))) a.setAttribute("aria-current", "page");

// What is still being worked out is asked for again until it is there. Nothing that somebody types is thrown away.
const working = document.querySelector("[data-working]");
if (working) {
  const again = async () => {
    try {
      const answer = await fetch(location.href, { credentials: "same-origin" });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const still = page.querySelector("[data-working]");
      if (!still || still.dataset.working !== working.dataset.working) {
        const typed = [...document.querySelectorAll("main input:not([type=hidden]), main textarea")].some((f) => f.value !== f.defaultValue);
        if (!typed) { location.reload(); return; }
        working.querySelector("strong").textContent = "A newer answer is there: load the page again.";
        return;
      }
    } catch { /* no connection: it is tried again */ }
    setTimeout(again, 2000);
  };
  setTimeout(again, 1500);
}
