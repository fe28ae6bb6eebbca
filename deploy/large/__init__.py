"""A project as large as the product is made for, from a seed: to look at the pages and to measure them.

The rows go around the services, since a million of them one by one would take hours. They are such as the services
write: an accepted stage has its signature, a done line its result or its reading, a reading what its calculation gave.
What is left out: the audit log of each deed, and the single steps of punch items. The counters and the search are made
anew at the end. Everything in it is invented.
"""
