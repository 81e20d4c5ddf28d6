"use strict";
(() => {
  const words = document.getElementById("words");
  const count = document.getElementById("count");
  const rows = Array.from(document.querySelectorAll(".events tbody tr"));
  const texts = rows.map((row) => row.textContent.toLowerCase());
  const filter = () => {
    const wanted = words.value.trim().toLowerCase();
    rows.forEach((row, at) => { row.hidden = !texts[at].includes(wanted); });
    const shown = rows.filter((row) => row.offsetParent !== null).length;
    count.textContent = `${shown} of ${rows.length} rows`;
  };
  words.closest("p").hidden = false;
  words.addEventListener("input", filter);
  document.querySelectorAll("input[name=show]").forEach((radio) => radio.addEventListener("change", filter));
  filter();
})();
