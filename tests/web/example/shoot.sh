set -euo pipefail  # stop at the first error

# TOKEN is what `evenhand serve` printed; PHOTO is a portrait, such as IMG_2041.jpg.
URL=${URL:-http://127.0.0.1:8700}
field() { python3 -c "import json, sys; print(json.load(sys.stdin)$1)"; }
studio() { curl -sS --fail-with-body -H "Authorization: Bearer $TOKEN" "$@"; }
encoded() { python3 -c "import sys, urllib.parse; print(urllib.parse.quote(sys.argv[1]))" "$1"; }
json() { studio -H "Content-Type: application/json" "$@"; }
follow() { studio -N "$URL/v1/jobs/$1/events" | grep -c progress > /dev/null; }

# A shoot, and a portrait in it; people are found.
SHOOT=$(json "$URL/v1/shoots" -d '{"name": "Summer regatta", "client": "Rowing club"}' | field "['id']")
ADDED=$(studio "$URL/v1/shoots/$SHOOT/portraits?name=$(encoded "$(basename "$PHOTO")")" \
  -H "Content-Type: application/octet-stream" --data-binary "@$PHOTO")
PORTRAIT=$(echo "$ADDED" | field "['portrait']['id']")
follow "$(echo "$ADDED" | field "['job']")"

# Who it is, and what she agreed to. Without this no layer is computed.
PERSON=$(studio "$URL/v1/portraits/$PORTRAIT/people" | field "[0]['id']")
json -X PUT "$URL/v1/people/$PERSON" -d '{"name": "Mara"}' > /dev/null
json "$URL/v1/shoots/$SHOOT/permissions" \
  -d '{"name": "Mara", "steps": ["redness", "smoothing"], "how": "in person"}' > /dev/null
follow "$(studio "$URL/v1/shoots/$SHOOT/jobs" | field "[0]['id']")"

# A look at it, then a proof. Its link is https://YOUR-STUDIO/proof#$LINK.
studio "$URL/v1/portraits/$PORTRAIT/preview?side=1200&strengths=redness:0.8,smoothing:0.4" -o preview.jpg
LINK=$(json "$URL/v1/shoots/$SHOOT/proofs" -d "{\"portraits\": [\"$PORTRAIT\"]}" | field "['link']['token']")

# What the client does: look, choose, sign off exactly what was looked at.
client() { curl -sS --fail-with-body -H "Authorization: Bearer $LINK" "$@"; }
RENDERING=$(client "$URL/v1/proof/portraits/$PORTRAIT/picture?side=1200&strength=0.75" \
  -o proof.jpg -D - | tr -d '\r' | awk 'tolower($1) == "rendering:" {print $2}')
client "$URL/v1/proof/portraits/$PORTRAIT/sign-off" -H "Content-Type: application/json" -d "{
  \"rendering\": \"$RENDERING\", \"side\": 1200, \"signed_by\": \"Mara\", \"choices\": [
    {\"person\": \"$PERSON\", \"step\": \"redness\", \"strength\": 0.75},
    {\"person\": \"$PERSON\", \"step\": \"smoothing\", \"strength\": 0.75}]}" > /dev/null

# The final, at full quality, in the original's format; and the record of it all.
follow "$(json "$URL/v1/portraits/$PORTRAIT/final" -d '{"pattern": "{shoot}-{number}"}' | field "['id']")"
FINAL=$(studio "$URL/v1/shoots/$SHOOT/finals" | field "[0]['id']")
studio "$URL/v1/finals/$FINAL/file" -o "final.${PHOTO##*.}"
studio "$URL/v1/shoots/$SHOOT/record.csv" -o record.csv
