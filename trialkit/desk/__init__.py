"""The desk: the whole job in a browser on the adviser's own machine, a thin room above `trialkit.interface`.

It computes nothing, and keeps no files of its own but what is begun and not done (`begun`, `tray`, `drafts`). What it
does with a folder is a deed (`deeds`): a call of the interface, and the command that would do the same, which the page
shows. Pages are made on the server; they work without scripts. `serving` starts and ends it, `application` puts it
together, `guard` lets in only who has the secret link, `jobs` runs what takes long in a process of its own, `workspace`
knows what is in the folder; each of the `rooms` has the pages of one part of the job.
"""
