"""Who may come in: people and their roles, passphrases, devices that are signed in, codes that pair a phone.

May import the storage and what lies below it; nothing here knows of the web page, which asks at its door.
"""
