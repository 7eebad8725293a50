"""The sources of uncertainty that a budget names (JCGM 100, 4.1), in one place: what is worked out, stored, and advised
upon goes by these. The words for a person are set in ``reading/advice.py``."""

from __future__ import annotations

from enum import StrEnum


class Source(StrEnum):
    """Where a part of a reading's uncertainty comes from; its value is what documents hold."""

    REGION = "region"
    CARD_READING = "card reading"
    CARD_TOLERANCE = "card tolerance"
    DOUBTFUL_CARD = "doubtful card"
    NO_CARD = "no card"
    WHITE_BALANCE = "white balance"
    UNEVEN_LIGHT = "uneven light"
    LIGHT_CLOSE_BY = "light close by"
    CAMERA_AND_LIGHT = "camera and light"
    LIGHT_HAS_MOVED = "light has moved"
    LIGHT_UNPROVEN = "light may not be the profile's"
    TONE_CURVE = "tone curve"
    STRAY_LIGHT = "stray light"
    BLACK_LEVEL = "black level"
    PROFILE = "profile"
    UNLIKE_THE_CHART = "colours unlike the chart's"
    REFERENCES = "known finishes in the picture"
    CAMERA_LOCALLY = "camera near a colour"
    LAMP_POSITIONS = "lamp positions"
    PALE_SPOTS = "pale spots"
    WIDE_GLARE = "wide glare"
    ROOM_MIRRORED = "room mirrored"
    INSTRUMENT = "instrument"
    MATCH_BY_EYE = "match by eye"
    CHANGE_OF_LIGHT = "change of light"
    LIGHT_NOT_STATED = "light not stated"
