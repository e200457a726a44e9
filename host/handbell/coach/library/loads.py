"""Which body parts bear load in an exercise, by what it does, how it lands and what it tires.

Every rule is common practice, no source. They err on the side of calling a part loaded, since
they are asked for what a sore part should be spared.
"""

from __future__ import annotations

from collections.abc import Iterable

LOADS = ("neck", "shoulder", "elbow", "wrist", "back", "hip", "knee", "ankle")

# By what is done; docs/engineers/exercises.md says it in words. Common practice, no source.
FROM_DOING: dict[str, tuple[str, ...]] = {
    "hands down": ("wrist", "elbow", "shoulder"),
    "forearms down": ("elbow", "shoulder"),
    "hanging": ("wrist", "elbow", "shoulder"),
    "gripped": ("wrist", "elbow"),
    "weight held": ("wrist", "elbow", "shoulder"),
    "load overhead": ("wrist", "elbow", "shoulder", "neck", "back"),
    "arms overhead": ("shoulder",),
    "press": ("elbow", "shoulder"),
    "pull": ("elbow", "shoulder"),
    "plank": ("neck", "back", "shoulder"),
    "toes down": ("ankle",),
    "hips up": ("neck", "back", "hip"),
    "bow": ("neck", "back", "hip"),
    "spine bent": ("back",),
    "spine loaded": ("neck", "back"),
    "head lifted": ("neck",),
    "legs held": ("back", "hip"),
    "knee bend": ("knee", "hip", "ankle"),
    "half bend": ("knee", "hip"),
    "pedals": ("knee", "hip"),
    "split stance": ("knee", "hip", "ankle"),
    "one leg": ("knee", "hip", "ankle"),
    "kneeling": ("knee",),
    "tiptoe": ("ankle",),
    "step": ("hip", "ankle"),
    "loaded steps": ("hip", "knee", "ankle"),
}
# Landings: by the exercise's impact. Common practice, no source.
FROM_IMPACT: dict[str, tuple[str, ...]] = {
    "none": (),
    "low": ("knee", "ankle"),
    "high": ("knee", "ankle", "hip", "back", "neck"),
}
# A muscle pulls most at one joint, though some cross two. Common practice, no source.
FROM_TIRED: dict[str, tuple[str, ...]] = {
    "quads": ("knee",),
    "glutes": ("hip",),
    "hamstrings": ("hip",),
    "calves": ("ankle",),
    "hip flexors": ("hip",),
    "chest": ("shoulder",),
    "shoulders": ("shoulder",),
    "triceps": ("elbow",),
    "biceps": ("elbow",),
    "grip": ("wrist", "elbow"),
    "lower back": ("back",),
}
# Every joint that a muscle moves or holds, which is spared with it where it is sore. More than what
# it loads when it is tired: who has sore calves should not bend the knees hard either. Common
# practice, no source.
MOVED_BY: dict[str, tuple[str, ...]] = {
    "quads": ("hip", "knee"),
    "glutes": ("hip",),
    "hamstrings": ("hip", "knee"),
    "calves": ("knee", "ankle"),
    "hip flexors": ("back", "hip"),
    "chest": ("shoulder",),
    "shoulders": ("shoulder",),
    "triceps": ("shoulder", "elbow"),
    "upper back": ("neck", "shoulder", "back"),
    "biceps": ("shoulder", "elbow"),
    "grip": ("elbow", "wrist"),
    "abs": ("back",),
    "obliques": ("back",),
    "lower back": ("back",),
}


def follows(does: Iterable[str], impact: str, tires: Iterable[str]) -> tuple[str, ...]:
    """Return the parts that bear load by the rules, in the order of ``LOADS``."""
    found = set(FROM_IMPACT[impact])
    for word in does:
        found.update(FROM_DOING[word])
    for word in tires:
        found.update(FROM_TIRED.get(word, ()))
    return tuple(part for part in LOADS if part in found)
