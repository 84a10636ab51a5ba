/* <button data-copy="ID" hidden> copies the text of that box and confirms it; shown only if the browser can copy. */

async function copy(button, words) {
  const box = document.getElementById(button.dataset.copy);
  try {
    await navigator.clipboard.writeText(box.value);
    button.textContent = "Copied";
  } catch {
    box.select();
    button.textContent = /Mac|iP/.test(navigator.platform) ? "Selected. Press Command+C to copy." : "Selected. Press Ctrl+C to copy.";
  }
  setTimeout(() => { button.textContent = words; }, 3000);
}

if (navigator.clipboard) {
  for (const button of document.querySelectorAll("[data-copy]")) {
    const words = button.textContent;
    button.hidden = false;
    button.addEventListener("click", () => copy(button, words));
  }
}
