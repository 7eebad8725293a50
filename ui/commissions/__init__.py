"""The parts of the commissions page: what is typed of one, its areas with what comes next, its timeline and journal."""
