// What others do in a recall is shown on its pages as it happens. Without this script a page shows it when it is loaded again.
"use strict";

const news = document.querySelector("[data-live]");
if (news) {
  let source, head = Number(news.dataset.head), renewing = false, again = false;

  // Only what can be seen holds a connection open: a browser has few of them.
  const listen = () => {
    if (source || document.hidden) return;
    source = new EventSource(news.dataset.live);
    source.addEventListener("now", (e) => { if (JSON.parse(e.data).head > head) renew(JSON.parse(e.data)); document.body.dataset.listening = "yes"; });
    source.addEventListener("step", (e) => renew(JSON.parse(e.data)));
    source.addEventListener("end", ended);
  };
  const hush = () => { if (source) source.close(); source = null; };

  const typed = (part) => [...part.querySelectorAll("input:not([type=hidden]):not(#q), textarea")].some((f) => f.value !== f.defaultValue);
  const tell = (text) => { const line = document.createElement("p"); line.textContent = text; news.prepend(line); };

  // It was ended from there: whoever is signed out sees no more of it, and what was typed is not thrown away.
  async function ended() {
    hush();
    try {
      const answer = await fetch(location.href, { credentials: "same-origin" });
      if (answer.ok && !answer.redirected) { setTimeout(listen, 2000); return; }
      if (!typed(document)) { location.reload(); return; }
      tell("You are signed out: what others do is not shown here any more.");
    } catch { tell("There is no connection: what others do is not shown here. Load the page again when it is back."); }
  }

  const show = (step) => {
    if (!step.text) return;
    const line = document.createElement("p"), who = document.createElement("strong");
    who.textContent = step.by;
    line.append(who, " " + step.text + " (" + step.clock + ")");
    news.prepend(line);
    while (news.children.length > 3) news.lastElementChild.remove();
  };

  // The parts of the page that tell how things stand are fetched again, but none in which somebody is typing.
  async function renew(step) {
    head = Math.max(head, step.head);
    if (step) show(step);
    if (renewing) { again = true; return; }
    renewing = true;
    do {
      again = false;
      try {
        const answer = await fetch(location.href, { credentials: "same-origin" });
        if (!answer.ok || answer.redirected) break;
        const page = new DOMParser().parseFromString(await answer.text(), "text/html");
        for (const now of page.querySelectorAll("[data-renew]")) put(now);
      } catch { /* no connection: the next step brings it */ }
    } while (again);
    renewing = false;
  }

  function put(now) {
    const was = document.getElementById(now.id);
    if (!was || was.contains(document.activeElement) || typed(was)) return;
    const open = new Set([...was.querySelectorAll("details[open] > summary")].map((s) => s.textContent));
    const had = new Set([...was.querySelectorAll("li")].map((l) => l.textContent));
    for (const s of now.querySelectorAll("details > summary")) if (open.has(s.textContent)) s.parentElement.open = true;
    for (const l of now.querySelectorAll(".timeline li")) if (!had.has(l.textContent)) l.classList.add("fresh");
    was.replaceWith(now);
  }

  // The clock goes on by the server's time.
  const clock = document.querySelector("[data-since]");
  if (clock) {
    const loaded = Date.now();
    setInterval(() => {
      const minutes = Math.floor((Number(clock.dataset.now) - Number(clock.dataset.since) + (Date.now() - loaded) / 1000) / 60);
      if (minutes >= 0) clock.textContent = Math.floor(minutes / 60) + ":" + String(minutes % 60).padStart(2, "0");
    }, 5000);
  }

  document.addEventListener("visibilitychange", () => { if (document.hidden) hush(); else listen(); });
  addEventListener("pagehide", hush);
  addEventListener("pageshow", listen);
  listen();
}
