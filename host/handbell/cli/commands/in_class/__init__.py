"""Commands for a class: put it on the boxes, start it, bring its logs home."""
