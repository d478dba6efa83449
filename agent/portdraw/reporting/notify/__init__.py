"""How is somebody outside told of an alarm: by which protocol, in which words, and did it arrive?"""
