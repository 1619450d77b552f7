from benchboard.app import start

start()
