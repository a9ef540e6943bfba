// Light or dark, before anything is shown: as the system is, or as was chosen on this computer.
"use strict";
{
  const KEPT = "canvasrule-look";
  const page = document.documentElement;
  const looks = ["light", "dark"];

  // A cookie holds at every port, and each run of the bench has another.
  const kept = document.cookie.split("; ").find((one) => one.startsWith(`${KEPT}=`))?.split("=")[1];
  if (looks.includes(kept)) page.dataset.look = kept;

  document.addEventListener("DOMContentLoaded", () => {
    const choice = document.getElementById("look");
    choice.value = page.dataset.look ?? "system";
    choice.onchange = () => {
      const chosen = looks.includes(choice.value);
      if (chosen) page.dataset.look = choice.value; else delete page.dataset.look;
      document.cookie = `${KEPT}=${choice.value}; path=/; max-age=${chosen ? 31536000 : 0}; samesite=lax`;
    };
  });
}
