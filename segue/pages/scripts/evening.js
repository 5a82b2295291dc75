// One sound at a time: whichever starts, the others stop.
document.addEventListener("play", (event) => {
  for (const player of document.querySelectorAll("audio")) {
    if (player !== event.target) player.pause();
  }
}, true);
