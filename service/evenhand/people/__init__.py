"""Who is in the photograph: faces, bodies, regions, masks."""

from evenhand.people.finding import PeopleSettings, find_people

__all__ = ["PeopleSettings", "find_people"]
