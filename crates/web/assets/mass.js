// Mass: units of flux density.
import { refresh } from "./page.js";

document.addEventListener("change", async (event) => {
  if (event.target.id !== "unit") return;
  document.cookie = `arcmass-unit=${event.target.value}; path=/; max-age=31536000; samesite=strict`;
  await refresh();
  document.getElementById("unit")?.focus();
});
