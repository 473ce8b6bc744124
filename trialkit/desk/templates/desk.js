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
    document.getElementById("how-far").textContent = answer.told;
    setTimeout(look, 500);
  };
  setTimeout(look, 300);
}
const sizes = document.getElementById("sizes");
if (sizes) {
  const shown = document.getElementById("answer");
  let asking = new AbortController(), waiting = 0;
  const ask = async whole => {
    asking.abort();
    const mine = asking = new AbortController(), given = new URLSearchParams();
    for (const name of ["gardens", "blocks", "heads"]) given.set(name, sizes.elements[name].value);
    if (whole) given.set("whole", "1");
    const told = await fetch(`${sizes.dataset.answer}?${given}`, {signal: mine.signal}).then(a => a.ok ? a.text() : "").catch(() => "");
    if (mine !== asking || !told) return;
    shown.innerHTML = told;
    if (shown.querySelector("[data-waits]")) waiting = setTimeout(ask, whole ? 1500 : 600, true);
  };
  if (shown.querySelector("[data-waits]")) waiting = setTimeout(ask, 100, true);
  sizes.addEventListener("input", () => { clearTimeout(waiting); waiting = setTimeout(ask, 200, false); });
}
// Files may be dropped anywhere on a page with a form that takes them.
for (const form of document.querySelectorAll("form[data-drop]")) {
  const input = form.elements[form.dataset.drop];
  for (const one of form.querySelectorAll("[data-only-with-script]")) one.hidden = false;
  const over = event => { event.preventDefault(); form.classList.toggle("over", event.type === "dragover"); };
  for (const name of ["dragover", "dragleave"]) document.addEventListener(name, over);
  document.addEventListener("drop", event => {
    over(event);
    if (!event.dataTransfer.files.length) return;
    input.files = event.dataTransfer.files;
    form.requestSubmit();
  });
}
// A text is copied at once.
for (const button of document.querySelectorAll("button[data-copy]")) {
  const text = document.getElementById(button.dataset.copy), said = button.parentElement.querySelector("[data-copy-said]");
  button.hidden = false;
  button.addEventListener("click", async () => {
    text.select();
    const done = await navigator.clipboard.writeText(text.value).then(() => true, () => document.execCommand("copy"));
    if (done) said.textContent = button.dataset.copied;
  });
}
