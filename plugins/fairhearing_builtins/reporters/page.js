(function () {
  "use strict";
  const options = {
    mode: "vega-lite", renderer: "svg", actions: false, ast: true, tooltip: false, hover: false, defaultStyle: false,
  };
  const jobs = Array.from(document.querySelectorAll("script[data-chart]"), function (holder) {
    const place = holder.parentElement.querySelector(".chart");
    return window.vegaEmbed(place, JSON.parse(holder.textContent), options).catch(function (fault) {
      place.textContent = place.dataset.notDrawn;
      console.error(fault);
    });
  });
  Promise.all(jobs).then(function () { document.documentElement.dataset.drawn = "true"; });
  let opened = [];
  window.addEventListener("beforeprint", function () {
    opened = Array.from(document.querySelectorAll("details:not(.bulk):not([open])"));
    opened.forEach(function (one) { one.open = true; });
  });
  window.addEventListener("afterprint", function () {
    opened.forEach(function (one) { one.open = false; });
  });
})();
