"""The local web page: a small server, and the page that it serves from files of its own.

Everything shown is computed here, by the functions that the commands call; the browser draws and formats.
A plan goes back and forth as the tables of a plan file, key to text as typed, and lives in the browser
until a run is started; a run is kept in the data folder.
"""
