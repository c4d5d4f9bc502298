// What a message's link opens. The token in the address is the key; it is sent only to where this page came from.
const query = new URLSearchParams(location.search);
const incident = Number(query.get("incident"));
const token = query.get("token") ?? "";
const at = (id) => document.getElementById(id);

async function send(what) {
  const answer = await fetch("/answer", {
    method: "POST",
    headers: { "Content-Type": "application/json" },
    body: JSON.stringify({ incident, token, do: what, who: at("who").value.trim() }),
  });
  const json = await answer.json();
  if (!answer.ok) throw new Error([json.error, json.hint].filter(Boolean).join(": "));
  return json.incident;
}

function show(found) {
  at("title").textContent = found.title;
  const standing = found.is_standing ? "It stands." : "It is over.";
  const seen = found.is_acknowledged ? ` ${found.acknowledged_by} has seen it.` : " Nobody has answered yet.";
  at("state").textContent = standing + seen;
  at("text").textContent = found.text;
  at("acknowledge").disabled = found.is_acknowledged;
  at("cut_unit").hidden = found.units.length === 0;
  at("cut_bench").hidden = found.units.length === 0;
  at("ways").hidden = false;
}

const outcomes = {
  acknowledge: "Noted. No more calls about this.",
  cut_unit: "The unit is ordered off. That it is off, only its current proves: look at the page of the bench.",
  cut_bench: "The bench is ordered off. That it is off, only the current proves: look at the page of the bench.",
};

async function press(button) {
  // Off is asked once more: a thumb slips.
  if (button.classList.contains("off") && !button.classList.contains("sure")) {
    button.classList.add("sure");
    button.dataset.label = button.textContent;
    button.textContent = "Press again: " + button.textContent.toLowerCase();
    setTimeout(() => {
      button.classList.remove("sure");
      button.textContent = button.dataset.label;
    }, 6000);
    return;
  }
  button.disabled = true;
  try {
    show(await send(button.id));
    at("outcome").textContent = outcomes[button.id];
  } catch (error) {
    at("outcome").textContent = error.message;
    button.disabled = false;
  }
}

for (const button of document.querySelectorAll("button")) button.addEventListener("click", () => press(button));
send("show").then(show, (error) => {
  at("title").textContent = "This link opens nothing";
  at("state").textContent = error.message;
});
