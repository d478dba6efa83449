"""Where are the data folders (mibs, dashboards), in a checkout and in a wheel?"""
