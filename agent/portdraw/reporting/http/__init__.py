"""Who may ask what over HTTP, how long may it take, and what is answered?"""
