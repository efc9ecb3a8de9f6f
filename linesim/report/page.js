"use strict";
document.documentElement.classList.add("moves");
for (const pair of document.querySelectorAll(".pair")) {
  const range = pair.querySelector("input");
  const move = () => {
    pair.style.setProperty("--cut", range.value / 100);
    range.setAttribute("aria-valuetext", `${range.value} % ${range.dataset.before}`);
  };
  range.addEventListener("input", move);
  move();
}
