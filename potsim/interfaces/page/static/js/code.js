// The door: says why a code was not taken.
const said = document.querySelector("#said");
if (location.search === "?wrong") said.textContent = "That is not the code. Look at the last one printed.";
if (location.search === "?slow") said.textContent = "Too many tries. Wait half a minute, then try again.";
document.querySelector("#code").focus();
