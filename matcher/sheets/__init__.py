"""What is printed: one file a kind of sheet, all on the same paper and in the same type.

May import ``commissions`` and what is beneath it.
"""
