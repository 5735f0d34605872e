// A pressed button says so and cannot be pressed twice. The page works the same without this.
"use strict";

document.addEventListener("submit", (event) => {
  const form = event.target;
  const button = event.submitter;
  if (form.method !== "post" || !(button instanceof HTMLButtonElement) || button.dataset.busy === "") return;
  // Only after the browser has gathered the fields: a disabled button's own value would not be sent.
  setTimeout(() => {
    button.dataset.words = button.textContent;
    button.textContent = button.dataset.busy || "Recording ...";
    button.disabled = true;
  });
});

// Back to a page that the browser kept: its button must be pressable again.
window.addEventListener("pageshow", (event) => {
  if (!event.persisted) return;
  for (const button of document.querySelectorAll("button[data-words]")) {
    button.textContent = button.dataset.words;
    button.disabled = false;
    delete button.dataset.words;
  }
});
