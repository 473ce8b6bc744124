"""The rooms of the desk: each a part of the job, with its pages."""

from trialkit.desk.rooms.answer_room import room as answer
from trialkit.desk.rooms.county_room import room as county
from trialkit.desk.rooms.front import room as front
from trialkit.desk.rooms.garden import room as garden
from trialkit.desk.rooms.ledger_room import room as ledger
from trialkit.desk.rooms.mailing import room as mailing
from trialkit.desk.rooms.post import room as post
from trialkit.desk.rooms.settings import room as settings
from trialkit.desk.rooms.sizes import room as sizes
from trialkit.desk.rooms.starting_room import room as starting
from trialkit.desk.rooms.trial import room as trial

ROOMS = (front, starting, settings, sizes, mailing, trial, post, garden, answer, ledger, county)
