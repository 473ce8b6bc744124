"use strict";
// What is better with a script; every page works without.
const job = document.querySelector("[data-job][data-state=working]");
if (job) {
  const bar = document.getElementById("progress"), doing = document.getElementById("doing");
  const look = async () => {
    const answer = await fetch(`/job/${job.dataset.job}/state`).then(a => a.json()).catch(() => null);
    if (!answer || answer.state !== "working") { location.reload(); return; }
    if (answer.of) { bar.max = answer.of; bar.value = answer.done; }
    if (doing.textContent !== answer.doing) doing.textContent = answer.doing;
    setTimeout(look, 500);
  };
  setTimeout(look, 300);
}
const sizes = document.getElementById("sizes");
if (sizes) {
  const shown = document.getElementById("answer"), keep = document.getElementById("keep");
  let asked = 0, waiting = 0;
  const ask = async whole => {
    const mine = ++asked, given = new URLSearchParams(new FormData(sizes));
    for (const [name, value] of given) keep.elements[name].value = value;
    if (whole) given.set("whole", "1");
    const told = await fetch(`${sizes.dataset.answer}?${given}`).then(a => a.ok ? a.text() : "").catch(() => "");
    if (mine !== asked || !told) return;
    shown.innerHTML = told;
    if (!whole) waiting = setTimeout(ask, 600, true);
  };
  if (shown.querySelector("[data-waits]")) waiting = setTimeout(ask, 100, true);
  sizes.addEventListener("input", () => { clearTimeout(waiting); waiting = setTimeout(ask, 200, false); });
}
