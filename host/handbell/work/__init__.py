"""What a user can do: each an operation with plain arguments and a typed result, or our error.

An operation prints nothing and asks nothing. It tells how far it is through ``Progress``, which
may raise ``Cancelled`` to stop it; what was finished by then is kept.
"""
