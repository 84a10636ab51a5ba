/* <button data-copy="ID" hidden> copies the text of that box and says so; it shows itself where the browser can. */
(function () {
  "use strict";
  if (!navigator.clipboard) return;
  for (const button of document.querySelectorAll("[data-copy]")) {
    const words = button.textContent;
    button.hidden = false;
    button.addEventListener("click", async () => {
      const box = document.getElementById(button.dataset.copy);
      try {
        await navigator.clipboard.writeText(box.value);
        button.textContent = "Copied";
      } catch (refused) {
        box.select();
        button.textContent = "Marked: copy it by the keyboard";
      }
      setTimeout(() => { button.textContent = words; }, 3000);
    });
  }
})();
