"""Changes to box.toml as it was read, so that the rules can be seen to notice them."""

import copy

from hardware import build


def faults(data, change):
    """Return what the rules say of a changed copy."""
    changed = copy.deepcopy(data)
    change(changed)
    return build.faults_of(changed)


def put(table, key, value):
    """Return a change that gives a key of a table another value."""

    def change(data):
        place = data
        for part in table.split("/"):
            place = place[int(part) if part.isdigit() else part]
        place[key] = value

    return change


def moved(end, net, variant=""):
    """Return a change that moves an end to another net, of a variant if one is named."""

    def change(data):
        nets = (data["variant"][variant] if variant else data)["net"]
        for ends in nets.values():
            if end in ends:
                ends.remove(end)
        nets.setdefault(net, []).append(end)

    return change


def without(*refs):
    """Return a change that leaves parts out, joining nothing in their place."""

    def change(data):
        for ref in refs:
            del data["part"][ref]
            for variant in data["variant"].values():
                variant.get("part", {}).pop(ref, None)
        for ends in data["net"].values():
            for end in [end for end in ends if end.split(".")[0] in refs]:
                ends.remove(end)

    return change


def bridged(ref, one, other):
    """Return a change that puts a wire in the place of a part: all of a net goes to another."""

    def change(data):
        nets = data["net"]
        at = {end: net for net, ends in nets.items() for end in ends}
        gone, kept = at[f"{ref}.{one}"], at[f"{ref}.{other}"]
        without(ref)(data)
        nets[kept] += nets.pop(gone)

    return change


def swapped(one, other):
    """Return a change that swaps two ends."""

    def change(data):
        on = {end: net for net, ends in data["net"].items() for end in ends}
        moved(one, on[other])(data)
        moved(other, on[one])(data)

    return change
