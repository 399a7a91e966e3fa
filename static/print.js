// Buttons that print the page: `<button type="button" data-print hidden>`. They are hidden where there is no script.

for (const button of document.querySelectorAll("[data-print]")) {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}
