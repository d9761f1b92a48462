// What hangs together lights up where the pointer or the focus is: all that a box came from, and all that it went into.
"use strict";

for (const svg of document.querySelectorAll("svg.flow")) {
  const bands = [...svg.querySelectorAll(".band")], nodes = [...svg.querySelectorAll(".node")];
  const next = { from: new Map(), to: new Map() };
  for (const b of bands) {
    for (const [side, other] of [["from", "to"], ["to", "from"]]) {
      const key = b.dataset[side];
      if (!next[side].has(key)) next[side].set(key, []);
      next[side].get(key).push([b, b.dataset[other]]);
    }
  }
  const light = (id) => {
    const on = new Set([id]), lit = new Set();
    for (const side of ["from", "to"]) {
      for (const todo = [id], seen = new Set(todo); todo.length;) {
        for (const [b, other] of next[side].get(todo.pop()) || []) {
          lit.add(b);
          on.add(other);
          if (!seen.has(other)) { seen.add(other); todo.push(other); }
        }
      }
    }
    for (const b of bands) b.classList.toggle("on", lit.has(b));
    for (const n of nodes) n.classList.toggle("on", on.has(n.dataset.id));
    svg.classList.add("lit");
  };
  const off = () => svg.classList.remove("lit");
  for (const n of nodes) {
    n.addEventListener("pointerenter", () => light(n.dataset.id));
    n.addEventListener("pointerleave", off);
    n.addEventListener("focus", () => light(n.dataset.id));
    n.addEventListener("blur", off);
  }
}
