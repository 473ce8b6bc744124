"use strict";
(() => {
  const form = JSON.parse(document.getElementById("data").textContent);
  const key = ["trialkit", form.trial, form.form, form.layout, form.site].join(":");
  const by = id => document.getElementById(id);
  const keys = { heads: ["bucket", "head"], solution: ["bucket"], visits: ["site"] };
  const tasks = ["planting", "mixing", "readings", "harvest", "other"];
  const ofDay = { solution: "measured_on", visits: "visited_on" };
  let state = { by: "", unit: form.unit, task: "planting", day: "", daySetOn: "", heads: {}, solution: [], visits: [], saved: {} };
  let current = "";
  let undo = null;
  let camera = null;
  let wasTold = "";
  let keeps = true;

  // What is said: the English words of this script, or what stands for them in the language of the form.
  function filled(text, parts) {
    return text.replace(/\{(\w+)\}/g, (whole, name) => name in parts ? parts[name] : whole);
  }
  function say(text, parts = {}) {
    return filled(form.words && form.words[text] || text, parts);
  }
  function sayCount(one, many, number, parts = {}) {
    const forms = form.words && form.words[one];
    return filled(forms ? forms[form.plurals[number < 200 ? number : 100 + number % 100]] : number === 1 ? one : many, { number, ...parts });
  }
  const listed = value => say(value.replace(/_/g, " "));

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
  // A scale in ounces: what is kept is grams, to a tenth, which is finer than a hundredth of an ounce.
  function inOunces(field) {
    return field.unit === "g" && state.unit === "oz";
  }
  function short(value, figures) {
    return String(Number(value.toFixed(figures)));
  }
  function kept(field, typed) {
    const value = plain(field, typed);
    return inOunces(field) && value && isNumber(value) ? short(Number(value) * form.gramsInAnOunce, 1) : typed;
  }
  function shown(field, record) {
    const text = record[field.name] || "";
    const value = plain(field, text);
    return inOunces(field) && value && isNumber(value) ? short(Number(value) / form.gramsInAnOunce, 2) : text;
  }
  function withUnit(field, value) {
    return value + (field.unit ? " " + field.unit : "");
  }
  function isNumber(value) {
    return /^[+-]?(\d+\.?\d*|\.\d+)$/.test(value);
  }
  function readAs(field, typed) {
    const value = plain(field, typed);
    if ((field.type !== "number" && field.type !== "integer") || !isNumber(value)) return "";
    if (inOunces(field)) return say("Read as {ounces} oz, kept as {grams} g.", { ounces: value, grams: kept(field, typed) }) + " ";
    return value === typed ? "" : say("Read as {value}.", { value: withUnit(field, value) }) + " ";
  }
  function fault(field, text) {
    const value = plain(field, text || "");
    if (!value) return "";
    if (field.enum && !field.enum.includes(value)) return say("Please choose from the list.");
    if (field.type === "number" || field.type === "integer") {
      if (!isNumber(value)) return say("This is not a number. Write figures only, without a unit.");
      if (field.type === "integer" && !/^[+-]?\d+$/.test(value)) return say("Write a whole number.");
      if (field.minimum !== undefined && Number(value) < field.minimum) return say("Too small: expected {expected}.", field);
      if (field.maximum !== undefined && Number(value) > field.maximum) return say("Too large: expected {expected}.", field);
    }
    if (field.type === "date") {
      const day = new Date(value + "T00:00:00Z");
      if (!/^\d{4}-\d\d-\d\d$/.test(value) || isNaN(day) || day.toISOString().slice(0, 10) !== value) return say("This is not a day.");
      if (field.minimum && value < field.minimum || field.maximum && value > field.maximum) return say("Expected {expected}.", field);
    }
    if (field.pattern && !new RegExp("^(?:" + field.pattern + ")$", "u").test(value)) return say("Expected {expected}.", field);
    if (field.maxLength && [...value].length > field.maxLength) return say("Too long: at most {maxLength} characters.", field);
    return "";
  }
  // Rules between the fields of one head; the same as those of the check.
  function crossFault(record, name) {
    const outcome = record.outcome || "";
    if ((outcome === "harvested" && name === "weight_g" || form.cut.includes(outcome) && name === "harvested_on") && !record[name]) return say("Needed, as the head was harvested.");
    if (form.cut.includes(outcome) && outcome !== "harvested" && name === "weight_g" && record[name]) return say("Leave this empty, as the outcome says that the head was not weighed.");
    if (form.notCut.includes(outcome) && (name === "weight_g" || name === "harvested_on") && record[name]) return say("Leave this empty, as the outcome says that the head was not cut.");
    if (name === "harvested_on" && record.transplanted_on && record.harvested_on && record.harvested_on < record.transplanted_on) return say("This is before the day of transplanting.");
    if (name === "last_not_ready_on" && record.last_not_ready_on && (record.last_not_ready_on < (record.transplanted_on || "") || record.harvested_on && record.last_not_ready_on > record.harvested_on)) return say("Expected a day from transplanting to harvest.");
    return "";
  }
  function message(table, field, record) {
    const wrong = fault(field, record[field.name]);
    if (wrong) return wrong;
    const cross = table === "heads" ? crossFault(record, field.name) : "";
    if (cross) return cross;
    if (table === "heads" && field.name === "outcome" && isGrowing(record)) return "";
    if (table === "heads" && field.name === "transplanted_on" && form.saysNothing.includes(record.outcome)) return "";
    return field.required && !record[field.name] && isTouched(table, record) ? say("Needed.") : "";
  }
  // What is no fault, but worth another look at the scale or the meter while one stands before it.
  function oddity(table, field, record) {
    const value = Number(plain(field, record[field.name] || ""));
    if (!record[field.name] || fault(field, record[field.name])) return "";
    const again = " " + (field.unit === "g" ? say("Weigh again. If it is right, leave it.") : say("Read again. If it is right, leave it."));
    if (value < field.usualMinimum || value > field.usualMaximum) return say("Unusual: mostly {least} to {most}.", { least: field.usualMinimum, most: withUnit(field, field.usualMaximum) }) + again;
    const days = (Date.parse(record.harvested_on) - Date.parse(record.transplanted_on)) / 86400000;
    if (table === "heads" && field.name === "weight_g" && days > 0 && value / days > form.mostGramsADay) return say("Unusual: more than {mostGramsADay} g for each day since planting.", form) + again;
    return "";
  }
  function isGrowing(record) {
    return Boolean(record.transplanted_on) && !record.outcome && !record.weight_g && !record.harvested_on;
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
  function headsOf(bucket) {
    return Array.from({ length: form.heads }, (_, head) => state.heads[bucket + "|" + (head + 1)] ||= {});
  }
  // How far a bucket has come, in words, and how many of its heads are recorded to the end.
  function bucketState(bucket) {
    const heads = headsOf(bucket).filter(record => isTouched("heads", record));
    const isWrong = record => form.tables.heads.some(field => !keys.heads.includes(field.name) && message("heads", field, record));
    const wrong = heads.filter(isWrong).length;
    const done = heads.filter(record => record.outcome && !isWrong(record)).length;
    const planted = heads.filter(record => record.transplanted_on).length;
    const row = rowOfDay("solution", { bucket });
    const words = {
      planting: planted === form.heads ? say("planted") : planted ? say("{planted} of {heads} planted", { planted, heads: form.heads }) : say("not planted yet"),
      mixing: row && isMixing(row) ? (row.acid_tsp || !form.buckets.find(one => one.id === bucket).acid ? say("written down") : say("acid to write down")) : state.solution.some(one => one.bucket === bucket && isMixing(one)) ? say("mixed before") : say("not mixed yet"),
      readings: row && (row.ph_before || row.ec_ms_cm) ? say("read") : say("not read yet"),
      harvest: wrong ? sayCount("{number} head to complete", "{number} heads to complete", wrong) : done === form.heads ? say("complete") : done ? say("{done} of {heads} heads", { done, heads: form.heads }) : planted ? say("growing") : say("nothing yet"),
    };
    words.other = words.harvest;
    return [words[state.task], done];
  }
  function isMixing(row) {
    return Boolean(row.volume_l || row.nutrient_tsp || row.acid_tsp || row.ph_after);
  }
  function rowOfDay(table, whose) {
    return state[table].find(row => row[ofDay[table]] === state.day && Object.entries(whose).every(([name, value]) => row[name] === value));
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
    if (!keeps) banner(say("This phone cannot keep what you type. Save the file after each bucket: what is not saved is gone when you close this page."));
  }
  function isState(found) {
    const isRow = row => row && typeof row === "object" && Object.values(row).every(value => typeof value === "string");
    return found && typeof found === "object" && typeof found.by === "string" && ["unit", "task", "day", "daySetOn"].every(name => typeof found[name] === "string") && Array.isArray(found.solution) && Array.isArray(found.visits)
      && found.heads && typeof found.heads === "object" && [...Object.values(found.heads), ...found.solution, ...found.visits, found.saved].every(isRow);
  }
  function load() {
    let text = null;
    try {
      text = localStorage.getItem(key);
      if (text === null) return;
      const found = { ...state, ...JSON.parse(text) };
      if (!isState(found)) throw new Error("not what this form keeps");
      state = found;
    } catch (error) {
      if (text === null) return;
      const rescue = make("button", { type: "button" }, say("Save what can be saved"));
      rescue.addEventListener("click", () => download(text, "damaged-record.txt"));
      banner(say("What was kept on this phone is damaged and cannot be shown. Save it before you go on, and send it to the adviser."), rescue);
      try { localStorage.setItem(key + ":damaged", text); } catch (full) { /* it can still be saved by the button */ }
    }
  }
  function keep() {
    if (!keeps) return;
    try {
      localStorage.setItem(key, JSON.stringify(state));
    } catch (error) {
      keeps = false;
      banner(say("This phone cannot keep any more of what you type. Save the file now."));
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
    const marks = wrong ? " " + sayCount("{number} entry is marked to look at.", "{number} entries are marked to look at.", wrong) : "";
    tell(say("File saved.") + marks + " " + say("Send it to the adviser. If no file appeared, use Copy as text."));
  }
  async function copy() {
    const text = exported();
    by("copied").hidden = false;
    by("copied-text").value = text;
    by("copied-text").select();
    try {
      await navigator.clipboard.writeText(text);
      tell(say("Copied. Paste it into a message to the adviser."));
    } catch (error) {
      tell(say("Copy the text in the box below and paste it into a message to the adviser."));
    }
  }
  function share() {
    const file = new File([exported()], fileName(), { type: "application/json" });
    navigator.share({ files: [file] }).then(handedOver, () => tell(say("Not shared. Use Save file.")));
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
      tell(say("This file cannot be read. It is not a saved record, or it was changed or cut off on its way."));
      return;
    }
    for (const mark of ["format", "trial", "layout", "form", "site"]) if (found[mark] !== form[mark]) {
      tell(say("This file belongs to another trial or garden, so it was not opened."));
      return;
    }
    const differing = [];
    let fresh = 0;
    const take = (table, record, row, label) => {
      for (const [column, value] of Object.entries(row)) {
        if (typeof value !== "string" || record[column] === value) continue;
        if (record[column]) differing.push({ table, record, column, value, label });
        else { record[column] = value; fresh++; }
      }
    };
    for (const row of found.tables.heads || []) take("heads", state.heads[row.bucket + "|" + row.head] ||= {}, without(row, ["bucket", "head"]), say("bucket {bucket}, head {head}", row));
    for (const row of found.tables.solution || []) take("solution", match(state.solution, row, ["bucket", "measured_on"]), row, say("bucket {bucket}, {measured_on}", row));
    for (const row of found.tables.visits || []) take("visits", match(state.visits, without(row, ["site"]), ["visited_on"]), without(row, ["site"]), say("visit of {visited_on}", row));
    if (!state.by && found.by) state.by = String(found.by);
    by("by").value = state.by;
    ask(differing);
    changed();
    draw();
    const choices = differing.length ? " " + sayCount("{number} differs: choose below.", "{number} differ: choose below.", differing.length) : "";
    tell(sayCount("Opened: {number} entry filled in.", "Opened: {number} entries filled in.", fresh) + choices);
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
      const field = form.tables[one.table].find(field => field.name === one.column);
      const [here, there] = [one.record[one.column], one.value].map(value => field.enum || field.words ? listed(value) : value);
      const box = make("div", { class: "banner" }, make("p", {}, say("{label}, {title}: here {here}, in the file {there}.", { label: one.label, title: field.title, here, there })));
      const choice = (words, taken) => {
        const button = make("button", { type: "button" }, words);
        button.addEventListener("click", () => { if (taken) one.record[one.column] = one.value; box.remove(); changed(); draw(); });
        return button;
      };
      box.append(make("div", { class: "buttons" }, choice(say("Keep what is here"), false), choice(say("Take the file's"), true)));
      return box;
    }));
  }

  // Fields.
  function fieldOf(table, field, record, prefix, refresh, entered) {
    const id = prefix + "-" + field.name;
    const notes = [id + "-hint", id + "-error", id + "-said"].slice(entered ? 1 : 0).join(" ");
    let input;
    if (field.enum || field.words) {
      input = make("select", { id, "aria-describedby": notes }, make("option", { value: "" }, ""), ...(field.enum || field.words).map(word => make("option", { value: word }, listed(word))));
    } else {
      const kind = field.type === "date" ? { type: "date" } : { type: "text", inputmode: field.type === "number" ? "decimal" : field.type === "integer" ? "numeric" : "text", autocomplete: "off", enterkeyhint: "next" };
      input = make("input", { id, "aria-describedby": notes, ...kind });
    }
    const error = make("p", { id: id + "-error", class: "error", role: "status" });
    const said = make("p", { id: id + "-said", class: "said", role: "status" });
    input.addEventListener("input", () => {
      record[field.name] = kept(field, input.value);
      if (!input.value) delete record[field.name];
      if (entered) entered(field);
      changed();
      refresh();
    });
    const told = () => {
      // What follows from another field is shown; what is being typed is left alone.
      const text = shown(field, record);
      if (document.activeElement !== input && input.value !== text) {
        input.value = text;
        if (input.value !== text && input.tagName === "SELECT") {
          input.append(make("option", { value: text }, text));
          input.value = text;
        }
      }
      const wrong = message(table, field, record);
      error.textContent = wrong;
      const odd = wrong ? "" : oddity(table, field, record);
      said.textContent = readAs(field, input.value) + odd;
      said.classList.toggle("odd", Boolean(odd));
      if (wrong) input.setAttribute("aria-invalid", "true"); else input.removeAttribute("aria-invalid");
    };
    const unit = inOunces(field) ? ", oz" : field.unit ? ", " + field.unit : "";
    const box = make("div", { class: entered && input.tagName === "SELECT" ? "field choice" : "field" }, make("label", { for: id }, field.title + unit), input);
    if (!entered) box.append(make("p", { id: id + "-hint", class: "hint" }, field.description));
    box.append(error, said);
    return [box, told];
  }
  // All fields of a record; or those named, without their descriptions, with what follows from an entry and with what is
  // wrong in the fields that are not shown.
  function fields(table, record, prefix, legend, names, entered) {
    const told = [];
    const refresh = () => told.forEach(one => one());
    const box = make("fieldset", {}, make("legend", {}, legend));
    const asked = names ? names.map(name => form.tables[table].find(field => field.name === name)) : form.tables[table].filter(field => !keys[table].includes(field.name));
    for (const field of asked) {
      const [part, one] = fieldOf(table, field, record, prefix, refresh, entered);
      box.append(part);
      told.push(one);
    }
    const unseen = form.tables[table].filter(field => !keys[table].includes(field.name) && !asked.includes(field));
    const rest = make("p", { class: "error", role: "status" });
    told.push(() => { rest.textContent = unseen.map(field => [field.title, message(table, field, record)]).filter(([, wrong]) => wrong).map(one => one.join(": ")).join(" "); });
    box.append(rest);
    refresh();
    return box;
  }
  // The fields of a bucket's solution on the day: its row is there once something is written in it.
  function solutionOfDay(bucket, legend, names) {
    const row = solutionRow(bucket);
    return fields("solution", row, "solution", legend, names, () => {
      const at = state.solution.indexOf(row);
      if (isEmpty(row) && at >= 0) state.solution.splice(at, 1);
      if (!isEmpty(row) && at < 0) state.solution.push(row);
    });
  }
  function solutionRow(bucket) {
    return rowOfDay("solution", { bucket }) || { bucket, measured_on: state.day };
  }
  function isEmpty(row) {
    return Object.keys(row).every(name => name === "bucket" || name === "measured_on");
  }

  // What a weight, or what became of a head, says of the rest: who weighs has cut, on this day.
  function cut(record) {
    if (record.weight_g) record.outcome ||= "harvested";
    if (form.cut.includes(record.outcome) || record.weight_g && !form.notCut.includes(record.outcome)) record.harvested_on ||= state.day;
    else if (record.harvested_on === state.day) delete record.harvested_on;
  }
  function unweighed(record) {
    if (!record.weight_g && record.outcome === "harvested" && record.harvested_on === state.day) {
      delete record.outcome;
      delete record.harvested_on;
      delete record.marketable;
    }
  }

  // One tap for many entries: what is there already stays, and the tap can be taken back.
  function enterAll(entries, said) {
    const done = entries.filter(([record, column]) => !record[column]);
    for (const [record, column, value] of done) {
      record[column] = value;
      if ("measured_on" in record && !state.solution.includes(record)) state.solution.push(record);
    }
    undo = done;
    by("task-said").textContent = said(done);
    by("undo").hidden = !done.length;
    keep();
    draw();
  }
  function takeBack() {
    for (const [record, column, value] of undo) if (record[column] === value) delete record[column];
    state.solution = state.solution.filter(row => !isEmpty(row) || undo.every(([record]) => record !== row));
    forget(say("Taken back."));
    keep();
    draw();
  }
  function forget(words) {
    undo = null;
    by("task-said").textContent = words || "";
    by("undo").hidden = true;
  }
  function plantings(bucket) {
    return headsOf(bucket).map(record => [record, "transplanted_on", state.day]);
  }
  function fromCard(bucket) {
    const row = solutionRow(bucket.id);
    return Object.entries(bucket.card).map(([column, value]) => [row, column, value]);
  }

  // Drawing.
  function draw() {
    by("by").value = state.by;
    by("unit").value = state.unit;
    drawDay();
    drawList();
    drawBucket();
    by("visit-forms").replaceChildren(...state.visits.map((record, i) => fields("visits", record, "visit" + i, say("Visit {number}", { number: i + 1 }))));
    show();
  }
  function drawDay() {
    const day = form.tables.heads.find(field => field.name === "harvested_on");
    const wrong = state.day ? fault(day, state.day) : say("Choose the day first.");
    if (document.activeElement !== by("day")) by("day").value = state.day;
    by("day-error").textContent = wrong;
    by("day-said").textContent = wrong ? "" : dayWords();
    for (const button of document.querySelectorAll("[data-task]")) button.setAttribute("aria-pressed", String(button.dataset.task === state.task));
    for (const part of document.querySelectorAll("[data-of]")) part.hidden = !part.dataset.of.split(" ").includes(state.task) || Boolean(wrong) && state.task !== "other";
    by("buckets").hidden = Boolean(wrong) && state.task !== "other";
    if (by("buckets").hidden) current = "";
    const visit = rowOfDay("visits", {});
    by("looked").hidden = Boolean(visit);
    by("visit-of-day").replaceChildren(...visit ? [fields("visits", visit, "visit", say("Visit of this day"), ["observer_role", "note"], () => {})] : []);
  }
  function dateWords(day, more = {}) {
    return new Date(day + "T00:00:00Z").toLocaleDateString(form.locale || "en-GB", { day: "numeric", month: "long", year: "numeric", timeZone: "UTC", ...more });
  }
  function dayWords() {
    const day = dateWords(state.day, { weekday: "long" });
    return state.day === today() ? say("{day}, today", { day }) : state.day > today() ? say("{day}: this day has not come yet", { day }) : day;
  }
  function drawList() {
    by("list").replaceChildren(...form.buckets.map(bucket => {
      const button = make("button", { type: "button", "data-bucket": bucket.id }, make("strong", {}, bucket.id), make("span", {}));
      button.addEventListener("click", () => go(bucket.id, true));
      return make("li", {}, button);
    }));
  }
  function drawBucket() {
    by("bucket").hidden = !current;
    by("bucket-odd").textContent = "";
    if (!current) return;
    const bucket = form.buckets.find(one => one.id === current);
    by("bucket-title").textContent = say("Bucket {bucket}", { bucket: current });
    const planted = [...new Set(headsOf(current).map(record => record.transplanted_on || ""))].filter(Boolean).map(day => dateWords(day)).join(", ");
    by("bucket-about").textContent = bucket.place + (bucket.what ? ": " + bucket.what : "") + ". " + (planted ? say("Planted on {days}.", { days: planted }) : say("No day of planting is written down here yet."));
    by("bucket-day").textContent = state.task === "other" ? "" : by("day-said").textContent;
    const heads = (names, entered) => headsOf(current).map((record, i) => fields("heads", record, "head" + (i + 1), say("{bucket}, head {head}", { bucket: current, head: i + 1 }), names && names(record), entered && (field => entered(record, field))));
    const forms = {
      planting: () => heads(() => ["transplanted_on", "outcome"], () => {}),
      mixing: () => [make("p", {}, cardWords(bucket)), solutionOfDay(current, say("{bucket}: what went in on this day", { bucket: current }), ["volume_l", "nutrient_tsp", "acid_tsp", "ph_before", "ph_after", "note"])],
      readings: () => [solutionOfDay(current, say("{bucket}: as read on this day", { bucket: current }), ["ph_before", "ec_ms_cm"])],
      harvest: () => heads(record => ["weight_g", "outcome", "marketable", ...record.harvested_on && record.harvested_on !== state.day ? ["harvested_on"] : []], (record, field) => {
        if (field.name === "weight_g") unweighed(record);
        if (field.name !== "marketable") cut(record);
      }),
      other: () => heads(),
    };
    by("bucket-forms").replaceChildren(...forms[state.task]());
    const own = state.task === "other" ? state.solution.filter(record => record.bucket === current) : [];
    by("solution-forms").replaceChildren(...own.map((record, i) => fields("solution", record, "solution" + i, say("Mixing or measurement {number}", { number: i + 1 }))));
    by("bucket-card").hidden = state.task !== "mixing" || !bucket.card;
    by("solution-of-bucket").hidden = state.task !== "other";
  }
  function cardWords(bucket) {
    if (!bucket.card) return say("Write down what went in.");
    const told = form.tables.solution.filter(field => bucket.card[field.name] !== undefined).map(field => field.title.toLowerCase() + " " + withUnit(field, bucket.card[field.name]));
    return say("On the card: {amounts}.", { amounts: told.join(", ") }) + (bucket.acid ? " " + say("Acid goes in by the steps of the card ({acid}): write down how much it took.", bucket) : "");
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
    by("missing").textContent = done === all ? say("All {heads} heads are recorded.", { heads: all }) : say("{open} of {heads} heads are still without a harvest or another outcome.", { open: all - done, heads: all });
    const open = unsaved();
    by("state").textContent = open ? sayCount("{number} entry not yet saved to a file", "{number} entries not yet saved to a file", open) : Object.keys(state.saved).length ? say("Everything is saved to a file") : say("Nothing entered yet");
  }
  function tell(text) {
    by("state").textContent = text;
  }
  // To a bucket: at once to what is to be written, where somebody stands before it with the scale in hand.
  function go(bucket, write) {
    current = bucket;
    drawBucket();
    show();
    const inputs = [...by("bucket-forms").querySelectorAll("input")];
    by("bucket").scrollIntoView({ behavior: "instant" });
    (write && state.task !== "planting" && state.task !== "other" && inputs.find(input => !input.value) || by("bucket-title")).focus({ preventScroll: true });
  }
  function find(text, write) {
    const parts = text.split(form.between).map(part => part.trim());
    const isLabel = parts.length === 3 && parts.every(Boolean);
    const same = (one, other) => one.toUpperCase() === other.toUpperCase();
    const refuse = words => { by("jump-error").textContent = words; };
    if (isLabel && !same(parts[0], form.trial)) return refuse(say("This label is of the trial {other}. This form is for the trial {own}, so nothing was opened.", { other: parts[0], own: form.trial }));
    if (isLabel && !same(parts[1], form.site)) return refuse(say("This label is of the garden {other}. This form is for the garden {own}, so nothing was opened.", { other: parts[1], own: form.site }));
    const asked = parts[parts.length - 1].toUpperCase();
    if (form.buckets.some(bucket => bucket.id.toUpperCase() === asked)) {
      refuse("");
      return go(form.buckets.find(bucket => bucket.id.toUpperCase() === asked).id, write);
    }
    const apart = id => [...id].filter((letter, i) => letter !== asked[i]).length + Math.abs(id.length - asked.length);
    const nearest = form.buckets.map(bucket => bucket.id).sort((a, b) => apart(a) - apart(b))[0];
    return refuse(say("There is no bucket {asked} in this garden.", { asked }) + (apart(nearest) < 3 ? " " + say("Is it {nearest}?", { nearest }) : ""));
  }
  // An entry that is wrong or odd is told before one walks on, with the scale still at hand; told once, it may stay.
  function mayGoOn() {
    const filled = [...by("bucket").querySelectorAll(".field")].filter(one => one.querySelector("input, select").value);
    const notes = filled.flatMap(one => [...one.querySelectorAll(".error, .odd")]).filter(one => one.textContent);
    const odd = notes.map(one => one.closest("fieldset").querySelector("legend").textContent + ": " + one.textContent).join(" ");
    if (!odd || odd === wasTold) return true;
    wasTold = odd;
    by("bucket-odd").textContent = say("Before you go on, look at this.") + " " + odd + " " + say("To leave it as it is, tap again.");
    return false;
  }
  function jump() {
    find(by("jump").value, false);
  }

  // The label by the camera, where the browser reads codes by itself.
  async function offerScanning() {
    try {
      const formats = await BarcodeDetector.getSupportedFormats();
      by("scan").hidden = !formats.includes("qr_code") || !navigator.mediaDevices;
    } catch (error) { /* the letters are typed */ }
  }
  async function scan() {
    if (camera) return;
    let began = false;
    by("jump-error").textContent = "";
    try {
      camera = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
      began = true;
      by("camera").hidden = false;
      by("camera-picture").srcObject = camera;
      await by("camera-picture").play();
      const reader = new BarcodeDetector({ formats: ["qr_code"] });
      while (camera) {
        const [found] = await reader.detect(by("camera-picture"));
        if (found && camera) {
          stopScanning();
          find(found.rawValue, true);
        } else await new Promise(later => setTimeout(later, 150));
      }
    } catch (error) {
      if (began && !camera) return; // it was stopped while it looked
      stopScanning();
      by("jump-error").textContent = say("The camera cannot be used here. Type the letters and figures on the label.");
    }
  }
  function stopScanning() {
    if (camera) for (const track of camera.getTracks()) track.stop();
    camera = null;
    by("camera").hidden = true;
  }

  function today() {
    const now = new Date();
    return [now.getFullYear(), now.getMonth() + 1, now.getDate()].map(part => String(part).padStart(2, "0")).join("-");
  }
  function chooseDay(day, words) {
    state.day = day;
    state.daySetOn = today();
    forget(words);
    keep();
    drawDay();
    drawBucket();
    show();
  }
  // A day chosen on another day is not taken for today's: forms stay open on a phone for weeks.
  function isNewDay() {
    return state.daySetOn !== today();
  }
  const doings = {
    save, copy, share, jump, scan, undo: takeBack, "stop-scan": stopScanning,
    task(button) {
      state.task = button.dataset.task;
      current = "";
      stopScanning();
      forget();
      keep();
      draw();
    },
    next() {
      if (!mayGoOn()) return;
      const following = form.buckets[form.buckets.findIndex(bucket => bucket.id === current) + 1];
      if (following) return go(following.id, true);
      tell(say("That was the last bucket of this garden. Save the file."));
      return document.querySelector("[data-do=save]").focus();
    },
    "fit-next"() {
      if (!mayGoOn()) return;
      const market = form.tables.heads.find(field => field.name === "marketable");
      for (const record of headsOf(current)) if (record.weight_g) record.marketable ||= market.words[0];
      changed();
      doings.next();
    },
    "plant-all"() {
      const heads = form.buckets.flatMap(bucket => plantings(bucket.id));
      enterAll(heads, done => sayCount("{number} head planted on this day.", "{number} heads planted on this day.", done.length) + " " + (done.length < heads.length ? say("The others keep the day that they have.") + " " : "") + say("Now choose each bucket below where it was otherwise."));
    },
    "plant-bucket"() {
      for (const [record, column, value] of plantings(current)) record[column] = value;
      changed();
      drawBucket();
    },
    "unplant-bucket"() {
      for (const [record, column] of plantings(current)) delete record[column];
      changed();
      drawBucket();
    },
    "card-all"() {
      const fresh = form.buckets.filter(bucket => !state.solution.some(row => row.bucket === bucket.id && isMixing(row) && row.measured_on !== state.day));
      const acid = fresh.filter(bucket => bucket.acid).length;
      const before = form.buckets.length - fresh.length;
      enterAll(fresh.flatMap(fromCard), () => sayCount("{number} bucket as on the card.", "{number} buckets as on the card.", fresh.length) + (before ? " " + sayCount("{number} bucket was mixed before: choose it if it got more on this day.", "{number} buckets were mixed before: choose each that got more on this day.", before) : "") + (acid ? " " + sayCount("{number} bucket gets acid: choose it and write down how much it took.", "{number} buckets get acid: choose each and write down how much it took.", acid) : ""));
    },
    "card-bucket"() {
      enterAll(fromCard(form.buckets.find(bucket => bucket.id === current)), () => say("Bucket {bucket} as on the card.", { bucket: current }));
    },
    looked() {
      state.visits.push({ visited_on: state.day });
      changed();
      drawDay();
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
    if (asked) doings[asked.dataset.do](asked);
  });
  by("jump").addEventListener("keydown", event => { if (event.key === "Enter") jump(); });
  by("bucket").addEventListener("keydown", event => {
    if (event.key !== "Enter" || event.target.tagName !== "INPUT") return;
    const inputs = [...by("bucket").querySelectorAll("input"), ...document.querySelectorAll("#bucket-done button:not([hidden])")];
    inputs[inputs.indexOf(event.target) + 1].focus();
    event.preventDefault();
  });
  by("day").addEventListener("input", () => chooseDay(by("day").value));
  document.addEventListener("visibilitychange", () => { if (!document.hidden && isNewDay()) chooseDay(today(), say("A new day: the day above is today's again.")); });
  by("unit").addEventListener("change", () => { state.unit = by("unit").value; keep(); drawBucket(); });
  by("by").addEventListener("input", () => { state.by = by("by").value.trim(); keep(); });
  by("open").addEventListener("change", () => { if (by("open").files[0]) open(by("open").files[0]); by("open").value = ""; });
  window.addEventListener("beforeunload", event => { if (unsaved()) event.preventDefault(); });
  window.addEventListener("storage", event => {
    if (event.key === key && event.newValue !== JSON.stringify(state)) banner(say("This form is open twice on this phone. Go on in one of them only: save its file, and close the other."));
  });
  try {
    const probe = new File(["x"], "probe.json", { type: "application/json" });
    if (navigator.canShare && navigator.canShare({ files: [probe] })) document.querySelector("[data-do=share]").hidden = false;
  } catch (error) { /* no sharing on this phone */ }
  selfTest();
  load();
  if (isNewDay()) state = { ...state, day: today(), daySetOn: today() };
  if (!tasks.includes(state.task)) state.task = "planting";
  draw();
  offerScanning();
})();
