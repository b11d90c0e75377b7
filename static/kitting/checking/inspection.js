// The counting of a check: taps count up, the verdict of the plan follows.
// Without this file the numbers are typed and the server says what the plan says.
"use strict";
(() => {
  const number = (field) => Math.max(0, Number.parseInt(field.value, 10) || 0);

  const perClass = (form) => {
    const found = { critical: 0, major: 0, minor: 0 };
    for (const line of form.querySelectorAll(".tally-line")) {
      found[line.dataset.class] += number(line.querySelector("input"));
    }
    return found;
  };

  const sayVerdict = (form, says) => {
    const found = perClass(form);
    let rejected = false;
    let between = false;
    for (const row of form.querySelectorAll("[data-found]")) {
      const count = found[row.dataset.found];
      const over = count >= Number(row.dataset.reject);
      between ||= !over && count > Number(row.dataset.accept);
      row.querySelector("output").textContent = String(count);
      row.classList.toggle("tally-over", over);
      rejected ||= over;
    }
    const passes = between ? says.dataset.between : says.dataset.accepts;
    says.textContent = rejected ? says.dataset.rejects : passes;
    says.className = `tally-says ${rejected ? "no" : "yes"}`;
    const wanted = rejected ? "rejected" : "accepted";
    const choice = form.querySelector(`[name="verdict"][value="${wanted}"]`);
    if (choice) choice.checked = true;
  };

  const sayRest = (form, says) => {
    const found = Object.values(perClass(form)).reduce((sum, n) => sum + n, 0);
    const good = number(form.querySelector('[name="good"]'));
    const left = Number(form.dataset.bag) - good - found;
    says.textContent = `${says.dataset.left} ${left}`;
    says.className = `tally-says ${left ? "no" : "yes"}`;
  };

  const refresh = (form) => {
    const says = form.querySelector(".tally-says");
    if (!says) return;
    says.hidden = false;
    if (form.dataset.bag === undefined) sayVerdict(form, says);
    else sayRest(form, says);
  };

  const start = () => {
    for (const form of document.querySelectorAll("[data-counting]")) {
      for (const button of form.querySelectorAll("[data-more], [data-less]")) {
        button.hidden = false;
      }
      for (const label of form.querySelectorAll(".tally-line > label")) {
        label.className = "out-of-sight";
      }
      refresh(form);
    }
  };

  document.addEventListener("click", (event) => {
    const button = event.target.closest("[data-more], [data-less]");
    if (!button) return;
    const field = document.getElementById(button.dataset.more || button.dataset.less);
    field.value = String(Math.max(0, number(field) + (button.dataset.more ? 1 : -1)));
    refresh(button.form);
  });
  document.addEventListener("input", (event) => {
    const form = event.target.closest("[data-counting]");
    if (form && event.target.matches('input[type="number"]')) refresh(form);
  });
  document.addEventListener("htmx:afterSettle", start);
  start();
})();
