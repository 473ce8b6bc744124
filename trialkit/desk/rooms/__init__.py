"""The rooms of the desk: each a part of the job, with its pages."""

from trialkit.desk.rooms.front import room as front
from trialkit.desk.rooms.trial import room as trial

ROOMS = (front, trial)
