"""From troubles to work orders: what a person must do, where, with what at stake and with which cautions.

``stakes`` says what goes down with a part, ``advice`` holds the texts by kind of part, ``desk`` keeps the open orders.
"""
