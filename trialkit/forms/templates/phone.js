"use strict";
(() => {
  const form = JSON.parse(document.getElementById("data").textContent);
  const key = ["trialkit", form.trial, form.form, form.layout, form.site].join(":");
  const by = id => document.getElementById(id);
  const keys = { heads: ["bucket", "head"], solution: ["bucket"], visits: ["site"] };
  const notCut = ["not_ready", "dead", "missing"];
  let state = { by: "", heads: {}, solution: [], visits: [], saved: {} };
  let current = "";
  let keeps = true;

  // Elements. Text from the trial is only ever text.
  function make(tag, attributes, ...children) {
    const one = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes || {})) {
      if (value !== undefined && value !== false) one.setAttribute(name, value === true ? "" : value);
    }
    one.append(...children);
    return one;
  }
  function banner(text, button) {
    const box = make("div", { class: "banner" }, make("p", {}, text));
    if (button) box.append(button);
    by("banners").append(box);
  }

  // Values: as the tables of the trial hold them.
  function plain(field, text) {
    const value = text.normalize("NFKC").trim();
    return field.type === "number" || field.type === "integer" ? value.replace(",", ".") : text.trim();
  }
  function fault(field, text) {
    const value = plain(field, text || "");
    if (!value) return "";
    if (field.enum && !field.enum.includes(value)) return "Please choose from the list.";
    if (field.type === "number" || field.type === "integer") {
      if (!/^[+-]?(\d+\.?\d*|\.\d+)$/.test(value)) return "This is not a number. Write figures only, without a unit.";
      if (field.type === "integer" && !/^[+-]?\d+$/.test(value)) return "Write a whole number.";
      if (field.minimum !== undefined && Number(value) < field.minimum) return "Too small: expected " + field.expected + ".";
      if (field.maximum !== undefined && Number(value) > field.maximum) return "Too large: expected " + field.expected + ".";
    }
    if (field.type === "date") {
      const day = new Date(value + "T00:00:00Z");
      if (!/^\d{4}-\d\d-\d\d$/.test(value) || isNaN(day) || day.toISOString().slice(0, 10) !== value) return "This is not a day.";
      if (field.minimum && value < field.minimum || field.maximum && value > field.maximum) return "Expected " + field.expected + ".";
    }
    if (field.pattern && !new RegExp("^(?:" + field.pattern + ")$", "u").test(value)) return "Expected " + field.expected + ".";
    if (field.maxLength && [...value].length > field.maxLength) return "Too long: at most " + field.maxLength + " characters.";
    return "";
  }
  // Rules between the fields of one head; the same as those of the check.
  function crossFault(record, name) {
    const outcome = record.outcome || "";
    if (outcome === "harvested" && (name === "weight_g" || name === "harvested_on") && !record[name]) return "Needed, as the head was harvested.";
    if (notCut.includes(outcome) && (name === "weight_g" || name === "harvested_on") && record[name]) return "Leave this empty, as the outcome says that the head was not cut.";
    if (name === "harvested_on" && record.transplanted_on && record.harvested_on && record.harvested_on < record.transplanted_on) return "This is before the day of transplanting.";
    if (name === "last_not_ready_on" && record.last_not_ready_on && (record.last_not_ready_on < (record.transplanted_on || "") || record.harvested_on && record.last_not_ready_on > record.harvested_on)) return "Expected a day from transplanting to harvest.";
    return "";
  }
  function message(table, field, record) {
    const wrong = fault(field, record[field.name]);
    if (wrong) return wrong;
    const cross = table === "heads" ? crossFault(record, field.name) : "";
    if (cross) return cross;
    return field.required && !record[field.name] && isTouched(table, record) ? "Needed." : "";
  }
  function isTouched(table, record) {
    return Object.entries(record).some(([name, value]) => value && !keys[table].includes(name));
  }

  // The record of what was entered, cell by cell.
  function tables() {
    const order = form.buckets.map(bucket => bucket.id);
    const heads = [];
    for (const bucket of order) for (let head = 1; head <= form.heads; head++) heads.push({ bucket, head: String(head), ...state.heads[bucket + "|" + head] });
    const kept = (table, rows) => rows.filter(row => isTouched(table, row)).map(row => {
      const out = {};
      for (const field of form.tables[table]) {
        const value = plain(field, row[field.name] || "");
        if (value) out[field.name] = value;
      }
      return out;
    });
    const bySolution = [...state.solution].sort((a, b) => order.indexOf(a.bucket) - order.indexOf(b.bucket));
    return { heads: kept("heads", heads), solution: kept("solution", bySolution), visits: kept("visits", state.visits.map(row => ({ site: form.site, ...row }))) };
  }
  function cells() {
    const found = {};
    for (const [table, rows] of Object.entries(tables())) rows.forEach(row => {
      const name = keys[table].map(part => row[part]).join("|") + (table === "solution" ? "|" + (row.measured_on || "") : table === "visits" ? "|" + (row.visited_on || "") : "");
      for (const [column, value] of Object.entries(row)) if (!keys[table].includes(column)) found[table + "|" + name + "|" + column] = value;
    });
    return found;
  }
  function unsaved() {
    const now = cells();
    const names = new Set([...Object.keys(now), ...Object.keys(state.saved)]);
    return [...names].filter(name => now[name] !== state.saved[name]).length;
  }
  function marked() {
    let count = 0;
    for (const bucket of form.buckets) for (let head = 1; head <= form.heads; head++) {
      const record = state.heads[bucket.id + "|" + head] || {};
      if (isTouched("heads", record)) count += form.tables.heads.filter(field => !keys.heads.includes(field.name) && message("heads", field, record)).length;
    }
    for (const table of ["solution", "visits"]) for (const record of state[table]) {
      if (isTouched(table, record)) count += form.tables[table].filter(field => !keys[table].includes(field.name) && message(table, field, record)).length;
    }
    return count;
  }
  function bucketState(bucket) {
    let done = 0, wrong = 0, touched = 0;
    for (let head = 1; head <= form.heads; head++) {
      const record = state.heads[bucket + "|" + head] || {};
      if (!isTouched("heads", record)) continue;
      touched++;
      if (form.tables.heads.some(field => !keys.heads.includes(field.name) && message("heads", field, record))) wrong++;
      else done++;
    }
    if (wrong) return [wrong + (wrong > 1 ? " heads" : " head") + " to complete", done];
    if (done === form.heads) return ["complete", done];
    return [touched ? done + " of " + form.heads + " heads" : "nothing yet", done];
  }

  // What is kept on the phone.
  function selfTest() {
    try {
      localStorage.setItem(key + ":test", "1");
      keeps = localStorage.getItem(key + ":test") === "1";
      localStorage.removeItem(key + ":test");
    } catch (error) {
      keeps = false;
    }
    if (!keeps) banner("This phone cannot keep what you type. Save the file after each bucket: what is not saved is gone when you close this page.");
  }
  function isState(found) {
    const isRow = row => row && typeof row === "object" && Object.values(row).every(value => typeof value === "string");
    return found && typeof found === "object" && typeof found.by === "string" && Array.isArray(found.solution) && Array.isArray(found.visits)
      && found.heads && typeof found.heads === "object" && [...Object.values(found.heads), ...found.solution, ...found.visits, found.saved].every(isRow);
  }
  function load() {
    let text = null;
    try {
      text = localStorage.getItem(key);
      if (text === null) return;
      const found = JSON.parse(text);
      if (!isState(found)) throw new Error("not what this form keeps");
      state = found;
    } catch (error) {
      if (text === null) return;
      const rescue = make("button", { type: "button" }, "Save what can be saved");
      rescue.addEventListener("click", () => download(text, "damaged-record.txt"));
      banner("What was kept on this phone is damaged and cannot be shown. Save it before you go on, and send it to the adviser.", rescue);
      try { localStorage.setItem(key + ":damaged", text); } catch (full) { /* it can still be saved by the button */ }
    }
  }
  function keep() {
    if (!keeps) return;
    try {
      localStorage.setItem(key, JSON.stringify(state));
    } catch (error) {
      keeps = false;
      banner("This phone cannot keep any more of what you type. Save the file now.");
    }
  }
  function changed() {
    keep();
    show();
  }

  // The file handed back.
  function crc32(text) {
    let crc = ~0;
    for (const byte of new TextEncoder().encode(text)) {
      crc ^= byte;
      for (let bit = 0; bit < 8; bit++) crc = crc & 1 ? crc >>> 1 ^ 0xedb88320 : crc >>> 1;
    }
    return (~crc >>> 0).toString(16).padStart(8, "0");
  }
  function exported() {
    const rows = tables();
    const about = { format: form.format, trial: form.trial, layout: form.layout, form: form.form, site: form.site, by: state.by, saved_at: new Date().toISOString().slice(0, 19) + "Z" };
    return JSON.stringify({ ...about, tables: rows, check: crc32(JSON.stringify(rows)) });
  }
  function fileName() {
    return "record-" + form.site.replace(/[^\w-]+/g, "_") + "-" + new Date().toISOString().slice(0, 16).replace(/[-:]/g, "").replace("T", "-") + ".json";
  }
  function download(text, name) {
    const address = URL.createObjectURL(new Blob([text], { type: "application/json" }));
    const link = make("a", { href: address, download: name });
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(address), 60000);
  }
  function handedOver() {
    state.saved = cells();
    changed();
  }
  function save() {
    download(exported(), fileName());
    handedOver();
    const wrong = marked();
    say("File saved" + (wrong ? ", with " + wrong + (wrong > 1 ? " entries" : " entry") + " marked to look at" : "") + ". Send it to the adviser. If no file appeared, use Copy as text.");
  }
  async function copy() {
    const text = exported();
    by("copied").hidden = false;
    by("copied-text").value = text;
    by("copied-text").select();
    try {
      await navigator.clipboard.writeText(text);
      say("Copied. Paste it into a message to the adviser.");
    } catch (error) {
      say("Copy the text in the box below and paste it into a message to the adviser.");
    }
  }
  function share() {
    const file = new File([exported()], fileName(), { type: "application/json" });
    navigator.share({ files: [file] }).then(handedOver, () => say("Not shared. Use Save file."));
  }

  // Going on from a saved file: what is empty here is filled, what differs is asked about.
  function open(file) {
    const reader = new FileReader();
    reader.addEventListener("load", () => merge(String(reader.result)));
    reader.readAsText(file);
  }
  function merge(text) {
    let found;
    try {
      found = JSON.parse(text);
      if (crc32(JSON.stringify(found.tables)) !== found.check) throw new Error("changed");
    } catch (error) {
      say("This file cannot be read: it is not a saved record, or was changed or cut off on its way.");
      return;
    }
    for (const mark of ["format", "trial", "layout", "form", "site"]) if (found[mark] !== form[mark]) {
      say("This file belongs to another trial or garden, so it was not opened.");
      return;
    }
    const differing = [];
    let filled = 0;
    const take = (record, row, label) => {
      for (const [column, value] of Object.entries(row)) {
        if (typeof value !== "string" || record[column] === value) continue;
        if (record[column]) differing.push({ record, column, value, label });
        else { record[column] = value; filled++; }
      }
    };
    for (const row of found.tables.heads || []) take(state.heads[row.bucket + "|" + row.head] ||= {}, without(row, ["bucket", "head"]), "bucket " + row.bucket + ", head " + row.head);
    for (const row of found.tables.solution || []) take(match(state.solution, row, ["bucket", "measured_on"]), row, "bucket " + row.bucket + ", " + row.measured_on);
    for (const row of found.tables.visits || []) take(match(state.visits, without(row, ["site"]), ["visited_on"]), without(row, ["site"]), "visit " + row.visited_on);
    if (!state.by && found.by) state.by = String(found.by);
    by("by").value = state.by;
    ask(differing);
    changed();
    draw();
    say("Opened: " + filled + (filled === 1 ? " entry" : " entries") + " filled in" + (differing.length ? ", " + differing.length + " to choose below." : "."));
  }
  function without(row, names) {
    return Object.fromEntries(Object.entries(row).filter(([name]) => !names.includes(name)));
  }
  function match(rows, row, names) {
    let found = rows.find(one => names.every(name => (one[name] || "") === (row[name] || "")));
    if (!found) rows.push(found = Object.fromEntries(names.map(name => [name, row[name] || ""])));
    return found;
  }
  function ask(differing) {
    by("conflicts").replaceChildren(...differing.map(one => {
      const box = make("div", { class: "banner" }, make("p", {}, one.label + ", " + one.column + ": here " + one.record[one.column] + ", in the file " + one.value + "."));
      const choice = (words, taken) => {
        const button = make("button", { type: "button" }, words);
        button.addEventListener("click", () => { if (taken) one.record[one.column] = one.value; box.remove(); changed(); draw(); });
        return button;
      };
      box.append(make("div", { class: "buttons" }, choice("Keep what is here", false), choice("Take the file's", true)));
      return box;
    }));
  }

  // Fields.
  function fieldOf(table, field, record, prefix, refresh) {
    const id = prefix + "-" + field.name;
    const notes = id + "-hint " + id + "-error";
    let input;
    if (field.enum || field.words) {
      input = make("select", { id, "aria-describedby": notes }, make("option", { value: "" }, ""), ...(field.enum || field.words).map(word => make("option", { value: word }, word.replace(/_/g, " "))));
    } else {
      const kind = field.type === "date" ? { type: "date" } : { type: "text", inputmode: field.type === "number" ? "decimal" : field.type === "integer" ? "numeric" : "text", autocomplete: "off" };
      input = make("input", { id, "aria-describedby": notes, ...kind });
    }
    input.value = record[field.name] || "";
    if (record[field.name] && input.value !== record[field.name] && input.tagName === "SELECT") {
      input.append(make("option", { value: record[field.name] }, record[field.name]));
      input.value = record[field.name];
    }
    const error = make("p", { id: id + "-error", class: "error", role: "status" });
    input.addEventListener("input", () => {
      record[field.name] = input.value;
      if (!input.value) delete record[field.name];
      changed();
      refresh();
    });
    const told = () => {
      const text = message(table, field, record);
      error.textContent = text;
      if (text) input.setAttribute("aria-invalid", "true"); else input.removeAttribute("aria-invalid");
    };
    const unit = field.unit ? ", " + field.unit : "";
    const box = make("div", { class: "field" }, make("label", { for: id }, field.title + unit), input, make("p", { id: id + "-hint", class: "hint" }, field.description), error);
    return [box, told];
  }
  function fields(table, record, prefix, legend) {
    const told = [];
    const refresh = () => told.forEach(one => one());
    const box = make("fieldset", {}, make("legend", {}, legend));
    for (const field of form.tables[table]) {
      if (keys[table].includes(field.name)) continue;
      const [part, one] = fieldOf(table, field, record, prefix, refresh);
      box.append(part);
      told.push(one);
    }
    refresh();
    return box;
  }

  // Drawing.
  function draw() {
    by("by").value = state.by;
    drawList();
    drawBucket();
    by("visit-forms").replaceChildren(...state.visits.map((record, i) => fields("visits", record, "visit" + i, "Visit " + (i + 1))));
    show();
  }
  function drawList() {
    by("list").replaceChildren(...form.buckets.map(bucket => {
      const button = make("button", { type: "button", "data-bucket": bucket.id }, make("strong", {}, bucket.id), make("span", {}));
      button.addEventListener("click", () => go(bucket.id));
      return make("li", {}, button);
    }));
  }
  function drawBucket() {
    by("bucket").hidden = !current;
    if (!current) return;
    const bucket = form.buckets.find(one => one.id === current);
    by("bucket-title").textContent = "Bucket " + current;
    by("bucket-about").textContent = bucket.place + (bucket.what ? ": " + bucket.what : "");
    const heads = [];
    for (let head = 1; head <= form.heads; head++) heads.push(fields("heads", state.heads[current + "|" + head] ||= {}, "head" + head, "Head " + head));
    by("head-forms").replaceChildren(...heads);
    const own = state.solution.filter(record => record.bucket === current);
    by("solution-forms").replaceChildren(...own.map((record, i) => fields("solution", record, "solution" + i, "Mixing or measurement " + (i + 1))));
  }
  function show() {
    let done = 0;
    for (const button of document.querySelectorAll("[data-bucket]")) {
      const [words, count] = bucketState(button.dataset.bucket);
      done += count;
      button.lastChild.textContent = words;
      button.setAttribute("aria-current", String(button.dataset.bucket === current));
    }
    const all = form.buckets.length * form.heads;
    by("missing").textContent = done === all ? "All " + all + " heads are recorded." : (all - done) + " of " + all + " heads are still missing.";
    const open = unsaved();
    by("state").textContent = open ? open + (open > 1 ? " entries" : " entry") + " not yet saved to a file" : Object.keys(state.saved).length ? "Everything is saved to a file" : "Nothing entered yet";
  }
  function say(text) {
    by("state").textContent = text;
  }
  function go(bucket) {
    current = bucket;
    drawBucket();
    show();
    by("bucket-title").focus();
  }
  function jump() {
    const asked = by("jump").value.trim().toUpperCase();
    if (form.buckets.some(bucket => bucket.id === asked)) {
      by("jump-error").textContent = "";
      go(asked);
      return;
    }
    const apart = id => [...id].filter((letter, i) => letter !== asked[i]).length + Math.abs(id.length - asked.length);
    const nearest = form.buckets.map(bucket => bucket.id).sort((a, b) => apart(a) - apart(b))[0];
    by("jump-error").textContent = "No bucket " + asked + " in this garden" + (apart(nearest) < 3 ? "; is it " + nearest + "?" : ".");
  }
  const doings = {
    save, copy, share, jump,
    next() {
      const at = form.buckets.findIndex(bucket => bucket.id === current);
      go(form.buckets[(at + 1) % form.buckets.length].id);
    },
    "add-solution"() {
      state.solution.push({ bucket: current });
      keep();
      drawBucket();
      by("solution-forms").lastElementChild.querySelector("input").focus();
    },
    "add-visit"() {
      state.visits.push({});
      keep();
      draw();
      by("visit-forms").lastElementChild.querySelector("input").focus();
    },
  };

  document.addEventListener("click", event => {
    const asked = event.target.closest("[data-do]");
    if (asked) doings[asked.dataset.do]();
  });
  by("jump").addEventListener("keydown", event => { if (event.key === "Enter") jump(); });
  by("by").addEventListener("input", () => { state.by = by("by").value.trim(); keep(); });
  by("open").addEventListener("change", () => { if (by("open").files[0]) open(by("open").files[0]); by("open").value = ""; });
  window.addEventListener("beforeunload", event => { if (unsaved()) event.preventDefault(); });
  window.addEventListener("storage", event => {
    if (event.key === key && event.newValue !== JSON.stringify(state)) banner("This form is open twice on this phone. Go on in one of them only: save its file, and close the other.");
  });
  try {
    const probe = new File(["x"], "probe.json", { type: "application/json" });
    if (navigator.canShare && navigator.canShare({ files: [probe] })) document.querySelector("[data-do=share]").hidden = false;
  } catch (error) { /* no sharing on this phone */ }
  selfTest();
  load();
  draw();
})();
