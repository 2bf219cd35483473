// Small helps only; every page works without this file.
"use strict";

// A second press on the same button does nothing while the first is on its way.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.dataset.sent === "yes") {
    event.preventDefault();
    return;
  }
  form.dataset.sent = "yes";
  window.setTimeout(() => { delete form.dataset.sent; }, 8000);
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
for (const field of document.querySelectorAll(".field[data-routine]")) {
  markField(field);
  field.addEventListener("change", () => markField(field));
}

// A second press on a chosen answer takes it back, where no answer is one.
for (const group of document.querySelectorAll(".picks")) {
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

// The page warns before typing is lost by closing it.
for (const form of document.querySelectorAll("form[data-keep]")) {
  let touched = false;
  form.addEventListener("input", () => { touched = true; });
  form.addEventListener("submit", () => { touched = false; });
  window.addEventListener("beforeunload", (event) => { if (touched) event.preventDefault(); });
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
  form.addEventListener("input", () => {
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
