"""From the broker to the store: the MQTT client, and what becomes of each message before anything is thought of it."""
