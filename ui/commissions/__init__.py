"""The parts of the commissions page: what is typed of one, its areas with what comes next, sign-off, edition and
delivery, its timeline and journal."""
