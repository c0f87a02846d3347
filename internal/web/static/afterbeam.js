// What every page does beside being read: tells before a session ends, and copies what is shown once. Without it the pages work
// all the same.
"use strict";
(() => {
  const warnAt = 120; // seconds before the end

  const dialog = document.getElementById("stay");
  const left = Number(document.body.dataset.left || 0);
  if (dialog && left > 0) {
    let timer = 0;
    const plan = (seconds) => {
      clearTimeout(timer);
      timer = setTimeout(look, 1000 * (seconds > warnAt ? seconds - warnAt : Math.max(seconds, 0) + 1));
    };
    // Another window may have gone on meanwhile, so that the service is asked before anything is shown.
    const look = async () => {
      const seconds = await ask("/session/left", "GET");
      if (seconds <= 0) {
        location.assign("/sign-in?next=" + encodeURIComponent(location.pathname + location.search));
        return;
      }
      if (seconds <= warnAt && !dialog.open) dialog.showModal();
      if (seconds > warnAt && dialog.open) dialog.close();
      plan(seconds);
    };
    const ask = async (path, method) => {
      try {
        const answer = await fetch(path, { method, redirect: "error", cache: "no-store" });
        return answer.ok ? (await answer.json()).left : 0;
      } catch {
        return 0;
      }
    };
    document.getElementById("stay-on").addEventListener("click", async () => {
      const seconds = await ask("/session/go-on", "POST");
      dialog.close();
      plan(seconds);
    });
    if (left > warnAt) plan(left);
    else look();
  }

  // An open menu closes when one looks elsewhere.
  for (const menu of document.querySelectorAll("details.menu")) {
    const shut = (event) => {
      if (!menu.contains(event.target)) menu.open = false;
    };
    document.addEventListener("click", shut);
    document.addEventListener("focusin", shut);
    menu.addEventListener("keydown", (event) => {
      if (event.key !== "Escape") return;
      menu.open = false;
      menu.querySelector("summary").focus();
    });
  }

  for (const button of document.querySelectorAll("[data-copy]")) {
    button.addEventListener("click", async () => {
      await navigator.clipboard.writeText(document.getElementById(button.dataset.copy).textContent);
      button.textContent = button.dataset.copied;
    });
  }
})();
