document.querySelector(".place")?.addEventListener("change", (event) => event.currentTarget.requestSubmit());
