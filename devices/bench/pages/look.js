// Light or dark, before anything is shown: as the system is, or as was chosen on this computer.
"use strict";
{
  const KEPT = "canvasrule-look";
  const page = document.documentElement;
  const looks = ["light", "dark"];
  const dark = matchMedia("(prefers-color-scheme: dark)");

  // A cookie holds at every port, and each run of the bench has another.
  const kept = document.cookie.split("; ").find((one) => one.startsWith(`${KEPT}=`))?.split("=")[1];
  let chosen = looks.includes(kept) ? kept : null;
  const show = () => { page.dataset.look = chosen ?? (dark.matches ? "dark" : "light"); };
  show();
  dark.addEventListener("change", show);

  document.addEventListener("DOMContentLoaded", () => {
    const choice = document.getElementById("look");
    choice.value = chosen ?? "system";
    choice.onchange = () => {
      chosen = looks.includes(choice.value) ? choice.value : null;
      show();
      document.cookie = `${KEPT}=${choice.value}; path=/; max-age=${chosen ? 31536000 : 0}; samesite=lax`;
    };
  });
}
