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
