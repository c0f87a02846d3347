// The form of the lexicon by keyboard: Enter in a choice goes to the same choice of the next name, Shift and Enter to the one before,
// so that a list is gone through without the mouse. It also says how many names have a class. Without it the form works all the same.
"use strict";
(() => {
  const form = document.getElementById("words");
  if (!form) return;
  const part = (select) => select.name.split("-")[0];
  const choices = (select) => [...select.closest("table").querySelectorAll("select")].filter((s) => part(s) === part(select));
  form.addEventListener("keydown", (e) => {
    if (e.key !== "Enter" || e.target.tagName !== "SELECT") return;
    e.preventDefault();
    if (!e.target.closest("table")) return;
    const column = choices(e.target);
    const next = column[column.indexOf(e.target) + (e.shiftKey ? -1 : 1)];
    (next || document.getElementById("reason")).focus();
  });
  // What the key would type goes to the choice that has the focus by then, and must not open it.
  form.addEventListener("keypress", (e) => {
    if (e.key === "Enter" && e.target.tagName === "SELECT") e.preventDefault();
  });
  const out = document.getElementById("given");
  if (!out) return;
  const names = choices(out.closest("section").querySelector("select"));
  const tell = () => {
    const n = names.filter((s) => s.value).length;
    out.textContent = n === 0 ? out.dataset.none : n === 1 ? out.dataset.one : out.dataset.many.replace("#", n);
  };
  form.addEventListener("change", tell);
  tell();
})();
