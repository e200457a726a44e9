"""Plans with rules of what never comes directly after what, and the orders found for them."""

from handbell.coach.library.apart import breaches
from handbell.coach.order.kit import orders
from handbell.compile.schedule import resolve
from handbell.plan.files import parse_plan


def plan(pairs, *blocks, head="", sizes=(1, 1, 1), tail=""):
    bibs = iter(range(1, sum(sizes) + 1))
    groups = "".join(
        f'[[group]]\nname = "G{n}"\nbibs = {[next(bibs) for _ in range(size)]}\n'
        for n, size in enumerate(sizes)
    )
    rules = ", ".join(f'["{one}", "{other}"]' for one, other in pairs)
    said = f'title = "T"\nnever_after = [{rules}]\n{head}{groups}{tail}{"".join(blocks)}'
    return parse_plan(said.encode())


def block(*names, keys="rest_s = 10\n", order=None, work_s=20):
    said = f"order = {[list(row) for row in order]}\n" if order else ""
    tasks = "".join(f'[[block.exercise]]\nname = "{n}"\nwork_s = {work_s}\n' for n in names)
    return f"[[block]]\n{keys}{said}{tasks}"


def with_orders(there, found):
    blocks = (
        b.model_copy(update={"order": order}) for b, order in zip(there.blocks, found, strict=True)
    )
    return there.model_copy(update={"blocks": tuple(blocks)})


def breaking(there):
    """How often somebody does what a rule forbids."""
    return sum(len(breach.bibs) for breach in breaches(resolve(there)))


def ordered(there):
    return with_orders(there, [shared.order for shared in orders(there)])
