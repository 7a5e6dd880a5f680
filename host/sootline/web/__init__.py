"""What people see: server-rendered pages, live updates and forms. Reads the store, asks `Live`, decides nothing."""
