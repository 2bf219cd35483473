// Small helps only; every page works without this file.
"use strict";

// A second press on the same button does nothing while the first is on its way. Before a form is sent the server is asked
// whether it is there: where it is not, nothing is sent and the page stays as it is, with all that was typed.
const unsent = document.createElement("p");
unsent.className = "say bad unsent";
unsent.setAttribute("role", "alert");
const serverAnswers = () => fetch("/healthz", { cache: "no-store", signal: AbortSignal.timeout(5000) })
  .then((answer) => answer.ok, () => false);
document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (event.defaultPrevented) return;
  if (form.dataset.sent === "go") {
    form.dataset.sent = "yes";
    window.setTimeout(() => { delete form.dataset.sent; }, 8000);
    return;
  }
  if (form.dataset.sent) {
    event.preventDefault();
    return;
  }
  if (form.method !== "post") return;
  event.preventDefault();
  form.dataset.sent = "asking";
  const there = await serverAnswers();
  if (there) {
    unsent.remove();
    form.dataset.sent = "go";
    form.requestSubmit(event.submitter);
    // Where the browser itself finds a box that must be filled in, nothing went.
    if (form.dataset.sent === "go") delete form.dataset.sent;
    return;
  }
  delete form.dataset.sent;
  unsent.textContent = document.body.dataset.unsent;
  (form.querySelector(".do") ?? form).append(unsent);
  unsent.scrollIntoView({ block: "nearest" });
});
window.addEventListener("pageshow", () => {
  for (const form of document.forms) delete form.dataset.sent;
});

// Fields that differ from the routine answer stand out while typing.
const markField = (field) => {
  const routine = field.dataset.routine;
  const control = field.querySelector("input:checked, select, input[type=text]");
  field.classList.toggle("differs", control !== null && control.value !== routine);
};
for (const field of document.querySelectorAll(".field[data-routine]")) markField(field);
document.addEventListener("change", (event) => {
  const field = event.target.closest?.(".field[data-routine]");
  if (field) markField(field);
});

// A second press on a chosen answer takes it back, where no answer is one.
const takesBack = (group) => {
  const none = group.querySelector(".blank input");
  let before = group.querySelector("input:checked");
  group.addEventListener("click", (event) => {
    if (!(event.target instanceof HTMLInputElement)) return;
    if (none && event.target === before && before !== none) {
      none.checked = true;
      none.dispatchEvent(new Event("change", { bubbles: true }));
      none.dispatchEvent(new Event("input", { bubbles: true }));
    }
    before = group.querySelector("input:checked");
  });
};
for (const group of document.querySelectorAll(".picks:not(.many)")) takesBack(group);

// Lines of a list come and go without sending the form.
const lineNumbers = (list, name) => [...list.querySelectorAll("[name]")]
  .filter((one) => one.name.startsWith(`${name}.`))
  .map((one) => Number.parseInt(one.name.slice(name.length + 1), 10));
document.addEventListener("click", (event) => {
  const button = event.target.closest?.("button[name='add'], button[name='remove']");
  const list = button?.closest("[data-list]");
  if (!list) return;
  event.preventDefault();
  if (button.name === "remove") {
    button.closest(".line").remove();
    list.querySelector(":scope > button").focus();
  } else {
    const template = list.querySelector(":scope > template");
    const number = Math.max(-1, ...lineNumbers(list, list.dataset.list)) + 1;
    template.insertAdjacentHTML("beforebegin", template.innerHTML.replaceAll(template.dataset.open, String(number)));
    const line = template.previousElementSibling;
    for (const group of line.querySelectorAll(".picks:not(.many)")) takesBack(group);
    line.querySelector("select, input:not([type=hidden])").focus();
  }
  list.dispatchEvent(new Event("input", { bubbles: true }));
});

// The history of the eye that is chosen opens beside it; the other one's closes where nothing was told of it.
document.addEventListener("change", (event) => {
  if (!/^operations\.\d+\.eye$/.test(event.target.name ?? "")) return;
  for (const fold of document.querySelectorAll("details[data-eye]")) {
    if (fold.dataset.eye === event.target.value) fold.open = true;
    else if (!fold.querySelector("input:checked:not([value='']), input[type='text']:not([value=''])")) fold.open = false;
  }
});

// A patient's code that is known already brings the record with it.
const knownPatient = document.querySelector("button[name='known']");
if (knownPatient) {
  document.getElementById("patient.code").addEventListener("change", async (event) => {
    const query = new URLSearchParams({ code: event.target.value });
    const answer = await fetch(`/operations/new?${query}`).catch(() => null);
    if (answer?.redirected && answer.url.includes("/record")) knownPatient.form.requestSubmit(knownPatient);
  });
}

// "None of these" shows what it says: "no" where nothing was answered; taken back, those answers go with it.
for (const none of document.querySelectorAll(".none-of input")) {
  let said = [];
  none.addEventListener("change", () => {
    const groups = [...none.closest(".signs").querySelectorAll("[role=radiogroup]")];
    const open = groups.filter((group) => !(group.querySelector("input:checked")?.value));
    for (const group of none.checked ? open : said) {
      group.querySelector(none.checked ? "input[value=no]" : "input[value='']").checked = true;
    }
    said = none.checked ? open : [];
  });
}

// A field and the words that it came from light up together; the text rolls to them where it stands beside.
const toldText = document.querySelector(".told");
const light = (from, on) => {
  for (const number of from.dataset.told.split(" ")) {
    for (const one of document.querySelectorAll(`[data-told~="${number}"]`)) one.classList.toggle("lit", on);
  }
  if (!on || toldText.contains(from) || getComputedStyle(toldText).position !== "sticky") return;
  const words = toldText.querySelector(".lit");
  if (words) toldText.scrollTop += words.getBoundingClientRect().top - toldText.getBoundingClientRect().top - 48;
};
for (const [kind, on] of [["pointerover", true], ["pointerout", false], ["focusin", true], ["focusout", false]]) {
  document.addEventListener(kind, (event) => {
    const from = event.target.closest?.("[data-told]");
    if (from && toldText) light(from, on);
  });
}

// What is answered above stands in its field at once; what is typed in the field takes its place.
const withName = (form, name) => [...form.elements].filter((one) => one.name === name);
document.addEventListener("change", (event) => {
  const { form, name, value } = event.target;
  if (!form || !name) return;
  if (!name.startsWith("asked:")) {
    for (const one of withName(form, `asked:${name}`)) one.checked = false;
    return;
  }
  const texts = JSON.parse(value);
  for (const one of withName(form, name.slice("asked:".length))) {
    if (one.type === "radio") one.checked = one.value === (texts[0] ?? "");
    else if (one.type === "checkbox") one.checked = texts.includes(one.value);
    else one.value = texts[0] ?? "";
    const field = one.closest(".field[data-routine]");
    if (field) markField(field);
    for (let fold = one.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
  }
});

// The page warns before typing is lost by closing it.
for (const form of document.querySelectorAll("form[data-keep]")) {
  let touched = false;
  form.addEventListener("input", () => { touched = true; });
  window.addEventListener("beforeunload", (event) => {
    if (touched && form.dataset.sent !== "yes") event.preventDefault();
  });
}

// The plan beside the record's form changes while someone types; without this file a button does it.
for (const form of document.querySelectorAll("form[data-preview]")) {
  const place = document.getElementById("preview");
  let waiting = 0;
  let asked = 0;
  const look = async () => {
    const mine = ++asked;
    const answer = await fetch(form.dataset.preview, { method: "POST", body: new FormData(form) }).catch(() => null);
    if (answer && answer.ok && !answer.redirected && mine === asked) place.innerHTML = await answer.text();
  };
  form.addEventListener("input", (event) => {
    if (event.target.name === "told.text") return;
    window.clearTimeout(waiting);
    waiting = window.setTimeout(look, 500);
  });
}

// The day that is typed is said in words beside its box; the server reads it, as it will when the form is sent.
document.addEventListener("input", (event) => {
  const box = event.target;
  if (!box.matches?.("input[data-day]")) return;
  window.clearTimeout(box.saying);
  box.saying = window.setTimeout(async () => {
    const echo = document.getElementById(`day-${box.id}`);
    const typed = box.value;
    const query = new URLSearchParams({ text: typed, lean: box.dataset.day });
    const answer = await fetch(`/day?${query}`).catch(() => null);
    if (!answer || answer.redirected || ![200, 422].includes(answer.status) || typed !== box.value) return;
    echo.textContent = await answer.text();
    echo.classList.toggle("wrong-line", !answer.ok);
    box.setAttribute("aria-invalid", String(!answer.ok));
  }, 250);
});

// Rows are added and taken out on the page; without this file the empty ones at the end do it.
for (const rows of document.querySelectorAll("[data-rows]")) {
  const form = rows.closest("form");
  const add = form.querySelector("[data-add]");
  const empty = (row) => [...row.querySelectorAll("input")].every((box) => !box.value);
  const clear = (row) => { for (const box of row.querySelectorAll("input")) box.value = ""; };
  const named = () => [...rows.rows].forEach((row, place) => {
    for (const box of row.querySelectorAll("input")) {
      box.setAttribute("aria-label", box.getAttribute("aria-label").replace(/[0-9]+/, String(place + 1)));
    }
  });
  for (const row of [...rows.rows].slice(1)) if (empty(row)) row.remove();
  for (const button of form.querySelectorAll("[data-add], [data-remove]")) button.hidden = false;
  rows.addEventListener("click", (event) => {
    const row = event.target.closest("[data-remove]")?.closest("tr");
    if (!row) return;
    if (rows.rows.length === 1) clear(row);
    else row.remove();
    named();
    (rows.rows[rows.rows.length - 1].querySelector("input") ?? add).focus();
    form.dispatchEvent(new Event("input", { bubbles: true }));
  });
  add.addEventListener("click", () => {
    const row = rows.rows[rows.rows.length - 1].cloneNode(true);
    clear(row);
    rows.append(row);
    named();
    row.querySelector("input").focus();
  });
}

// A form that opens a tab of its own: whoever comes back finds this page as it has become.
for (const form of document.querySelectorAll("form[target=_blank]")) {
  form.addEventListener("submit", () => {
    const again = () => { if (document.visibilityState === "visible") window.location.reload(); };
    window.setTimeout(() => {
      document.addEventListener("visibilitychange", again);
      window.addEventListener("focus", again);
    }, 1000);
  });
}
