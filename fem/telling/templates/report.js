// Folded sections: all at once by the button, and all open on paper as on the page from which a link leads into one.
(() => {
  const folds = () => [...document.querySelectorAll("main details")];
  const button = document.getElementById("open-all");
  button.addEventListener("click", () => {
    const open = button.getAttribute("aria-pressed") !== "true";
    button.setAttribute("aria-pressed", String(open));
    button.textContent = open ? "Close all" : "Open all";
    for (const fold of folds()) fold.open = open;
  });
  let opened = [];
  addEventListener("beforeprint", () => {
    opened = folds().filter((fold) => !fold.open);
    for (const fold of opened) fold.open = true;
  });
  addEventListener("afterprint", () => {
    for (const fold of opened) fold.open = false;
    opened = [];
  });
})();
