/* Passkeys: when the browser or the key calls it off, the page says so in a sentence. */

document.addEventListener("allauth.error", (event) => {
  event.preventDefault();
  const trouble = document.getElementById("key-trouble");
  if (trouble) trouble.hidden = false;
});
