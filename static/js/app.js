// What every page needs: the token for htmx's writes, and one time zone told once.
const token = document.querySelector('meta[name="csrf-token"]')?.content ?? "";

document.addEventListener("htmx:config:request", (event) => {
  const request = event.detail.ctx.request;
  if (request.method !== "GET") request.headers["X-CSRFToken"] = token;
});
