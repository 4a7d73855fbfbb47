import os
import time
from pathlib import Path

import httpx

url = os.environ.get("URL", "http://127.0.0.1:8700")
token, photo = os.environ["TOKEN"], Path(os.environ["PHOTO"])  # the token that serve printed
studio = httpx.Client(base_url=url, headers={"Authorization": f"Bearer {token}"}, timeout=60)


def settled(shoot):
    """Wait until no job of the shoot is waiting or running."""
    while any(
        job["state"] in ("waiting", "running")
        for job in studio.get(f"/v1/shoots/{shoot}/jobs").json()
    ):
        time.sleep(0.3)


# A shoot, and a portrait in it; people are found.
shoot = studio.post("/v1/shoots", json={"name": "Summer regatta"}).json()["id"]
added = studio.post(
    f"/v1/shoots/{shoot}/portraits", params={"name": photo.name}, content=photo.read_bytes()
)
portrait = added.json()["portrait"]["id"]
settled(shoot)

# Who it is, and what she agreed to. Without this no layer is computed.
person = studio.get(f"/v1/portraits/{portrait}/people").json()[0]["id"]
studio.put(f"/v1/people/{person}", json={"name": "Mara"})
studio.post(
    f"/v1/shoots/{shoot}/permissions",
    json={"name": "Mara", "steps": ["redness", "smoothing"], "how": "in writing"},
)
settled(shoot)

# A proof; the client looks, chooses, and signs off exactly what was looked at.
proof = studio.post(f"/v1/shoots/{shoot}/proofs", json={"portraits": [portrait]}).json()
link = {"Authorization": f"Bearer {proof['link']['token']}"}
seen = httpx.get(
    f"{url}/v1/proof/portraits/{portrait}/picture", params={"strength": 0.5}, headers=link
)
steps = [layer["step"] for layer in studio.get(f"/v1/portraits/{portrait}/layers").json()]
signed = httpx.post(
    f"{url}/v1/proof/portraits/{portrait}/sign-off",
    headers=link,
    json={
        "rendering": seen.headers["Rendering"],
        "signed_by": "Mara",
        "choices": [{"person": person, "step": step, "strength": 0.5} for step in steps],
    },
)
print("signed off:", signed.json()["standing"])

# The final, at full quality, in the original's format.
studio.post(f"/v1/portraits/{portrait}/final", json={}).raise_for_status()
settled(shoot)
final = studio.get(f"/v1/shoots/{shoot}/finals").json()[0]
Path("final" + photo.suffix).write_bytes(studio.get(f"/v1/finals/{final['id']}/file").content)
