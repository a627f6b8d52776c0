// Keeps the page as the house is: fetches it again and swaps its main part when something has changed.
const PAUSE = 2000;

async function look() {
  const lost = document.querySelector(".lost");
  try {
    const answer = await fetch("/", { cache: "no-store" });
    if (!answer.ok) throw new Error(String(answer.status));
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
    const [now, then] = [document.querySelector("main"), fresh.querySelector("main")];
    if (!fresh.querySelector(".lost")) {
      location.reload(); // the way in: the token was taken away
      return;
    }
    if (now && then && now.innerHTML !== then.innerHTML) now.replaceWith(document.adoptNode(then));
    lost.hidden = true;
  } catch {
    lost.hidden = false;
  }
}

setInterval(() => {
  if (!document.hidden) look();
}, PAUSE);
document.addEventListener("visibilitychange", () => {
  if (!document.hidden) look();
});
