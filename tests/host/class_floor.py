"""Three boxes at their stations, and the commands, for tests of sending, arming and collecting."""

from lying_box import LyingBox

from handbell.cli.main import main

PLAN = """
title = "{title}"
boxes = 3
[[block]]
gate = {gate}
  [[block.exercise]]
  name = "Squat"
  work_s = 30
"""


class Floor:
    """Three boxes at stations 1 to 3, those that are plugged in, and the commands."""

    def __init__(self, tmp_path, capsys) -> None:
        self.boxes = [LyingBox(f"e66164084b0000a{n}", station=n) for n in (1, 2, 3)]
        self.plugged = list(self.boxes)
        self.folder, self.capsys = tmp_path, capsys
        for box in self.boxes:
            box.lies["name"] = self._renamed(box)
        assert self.do("stations", *(f"{n}=a{n}" for n in (1, 2, 3)))[0] == 0

    @staticmethod
    def _renamed(box):
        def rename(message, honest):
            box.hello |= {"station": message["station"], "label": message["label"]}
            return honest

        return rename

    def do(self, *words: str) -> tuple[int, str]:
        ports = [word for box in self.plugged for word in ("--port", box.url)]
        code = main([*words, *ports])
        out, err = self.capsys.readouterr()
        return code, " ".join((out + err).split())

    def send(self, *words: str, title="Evening", gate=False) -> tuple[int, str]:
        plan = self.folder / f"{title}.toml"
        plan.write_text(PLAN.format(title=title, gate=str(gate).lower()), encoding="utf-8")
        return self.do("send", str(plan), *words)

    def armed(self) -> list[int]:
        """The boxes whose last word of a start was to have one."""
        last = [[m["do"] for m in box.asked if m["do"] in ("arm", "disarm")] for box in self.boxes]
        return [n for n, asked in enumerate(last, 1) if asked and asked[-1] == "arm"]
