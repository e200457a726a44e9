"""Operations on a plan: write, check, change, print it."""
