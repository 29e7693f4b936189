"use strict";
// What is typed into one form of a page is not left behind unasked, and whoever pressed a button sees that it is being
// done. Without script everything works as well; only these two things are not said.
(() => {
  const SOON_MS = 400; // what is done sooner needs no word
  let sent = null; // the form on its way

  const isChosen = (list) => [...list.options].some((one) => one.defaultSelected)
    ? [...list.options].some((one) => one.selected !== one.defaultSelected) : list.selectedIndex > 0;
  const isChanged = (field) => {
    if (field.type === "checkbox" || field.type === "radio") return field.checked !== field.defaultChecked;
    if (field.type === "file") return field.files.length > 0;
    if (field.type === "select-one") return isChosen(field);
    return "defaultValue" in field && field.value !== field.defaultValue;
  };
  const isPosted = (form) => form.getAttribute("method") === "post";
  const isLeft = (form) => isPosted(form) && form !== sent && [...form.elements].some(isChanged);

  const say = (button) => {
    if (!sent) return;
    const said = document.createElement("span");
    said.setAttribute("role", "status");
    said.className = "note";
    said.textContent = "Working on it …";
    button.after(" ", said);
  };

  document.addEventListener("submit", (event) => {
    if (event.defaultPrevented || !isPosted(event.target)) return;
    sent = event.target;
    setTimeout(say, SOON_MS, event.submitter);
  });

  addEventListener("beforeunload", (event) => {
    if (![...document.forms].some(isLeft)) return;
    event.preventDefault(); // the browser asks
    setTimeout(() => { sent = null; }); // comes only where somebody stays
  });
})();
