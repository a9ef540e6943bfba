// Which language the page is shown in, before anything of it is: what was chosen in this tab, else
// what was chosen last on this computer, else the first that the browser prefers and we have.
"use strict";
{
  const KEPT = "canvasrule-language";
  const page = document.documentElement;
  const known = page.dataset.languages.split(" ");
  // A cookie holds at every port, and each run of the bench has another.
  const last = document.cookie.split("; ").find((one) => one.startsWith(`${KEPT}=`))?.split("=")[1];
  const preferred = navigator.languages.map((one) => one.split("-")[0]);
  const language = [sessionStorage.getItem(KEPT), last, ...preferred].find((one) => known.includes(one));

  globalThis.speak = (chosen) => {
    sessionStorage.setItem(KEPT, chosen);
    document.cookie = `${KEPT}=${chosen}; path=/; max-age=31536000; samesite=lax`;
    location.reload();
  };

  page.lang = language ?? "en";
  if (page.lang !== "en") {
    globalThis.words = fetch(`/pages/words/${language}.json`).then((answer) => answer.json());
    // Nothing is shown in two languages one after the other; should no words come, in English.
    page.classList.add("wordless");
    setTimeout(() => page.classList.remove("wordless"), 3000);
  }
}
