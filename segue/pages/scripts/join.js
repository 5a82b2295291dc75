// The code may come behind the address, as a QR code has it; it is never part of what is asked for.
const needsCode = document.body.classList.contains("code");
byId("code-field").hidden = !needsCode;
byId("code").required = needsCode;
byId("code").value = decodeURIComponent(location.hash.slice(1));
byId(byId("code").value || !needsCode ? "name" : "code").focus();

byId("join").addEventListener("submit", async (event) => {
  event.preventDefault();
  byId("problem").textContent = "";
  try {
    const answer = await post("/join", { name: byId("name").value, code: byId("code").value });
    if (answer.ok) location.replace("/");
    else byId("problem").textContent = answer.problem;
  } catch { byId("problem").textContent = "No answer: is this phone on the same network?"; }
});

// A listener who comes back has a cookie; the browser keeps it from a page opened by another program.
if (!sessionStorage.getItem("tried")) {
  sessionStorage.setItem("tried", "yes");
  fetch("/joined").then(async (answer) => {
    if ((await answer.json()).is_joined) location.replace("/");
  }, () => {});
}
