"""The script that Streamlit runs, in a folder of its own.

Beside ``pages/`` it would not do: until the script has run once, Streamlit takes the files of a ``pages`` folder next
to it for pages in their own right, and answers the first visit to a sled's address with an empty one.
"""
